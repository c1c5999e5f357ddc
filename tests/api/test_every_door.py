"""Every list and every single thing is read once, and the deeds that no other story does."""

from __future__ import annotations

from typing import Any

import pytest
from django.contrib.auth.models import User
from django.utils import timezone
from drf_spectacular.generators import SchemaGenerator

from inventory.material.rules import grinding
from inventory.models import Movement, Place, Reading
from returns.filing.rules import intake
from returns.models import Request
from tests import makers
from tests.api.callers import Caller, machine
from tests.makers import NOON, Shop, key, opening
from tests.returns import customer_makers as customers
from tests.returns.bench_makers import on_shelf

pytestmark = pytest.mark.django_db


def readable() -> list[str]:
    """Every address that is read, as the description writes it."""
    paths = SchemaGenerator().get_schema(request=None, public=True)["paths"]
    return sorted(path for path, verbs in paths.items() if "get" in verbs)


@pytest.fixture
def full(shop: Shop, bea: User, acke: User) -> dict[str, str]:
    """A workshop in which there is one of most things; their codes by the address above them."""
    opening(400_000, shop)
    request = customers.sent_back(shop)
    frame = on_shelf(shop, bea, request=request)
    box = Place.objects.get(kind="box")
    run = grinding.propose(key=key(), box=box, at=NOON, by=bea)
    return {
        "batches": "AV-2601",
        "boxes": box.code,
        "frames": frame.tag,
        "models": "avocet",
        "months": "2026-10",
        "movements": str(Movement.objects.order_by("number")[0].number),
        "parcels": frame.parcel.code,
        "parts": "screw-m14",
        "requests": request.reference,
        "runs": run.code,
        "secret": intake.link_secret(request),
    }


def everything(person: User) -> Caller:
    return Caller(makers.token(person, "bench", "accounts", "owner", "read", at=timezone.now()))


def test_whatever_is_there_is_read(full: dict[str, str], olga: User) -> None:
    caller, missing = everything(olga), []
    for path in readable():
        above, argument, rest = path.removeprefix("/api/").partition("{")
        noun = above.rstrip("/").rpartition("/")[2]
        if argument and noun not in full:
            missing.append(path)
            continue
        asked = f"{above}{full[noun]}{rest.partition('}')[2]}" if argument else above
        extra = {"Story-Secret": full["secret"]} if above == "story/" else {}
        answer = caller.get(asked, **extra)
        assert answer.status_code in (200, 401, 403, 404, 409), (path, answer.content)
    # What only another story makes is read there.
    assert len(missing) <= 8, missing


def version(bench: Caller, tag: str) -> dict[str, Any]:
    return {"version": bench.get(f"frames/{tag}/").json()["version"]}


def test_a_wish_is_changed_and_a_frame_is_voided(full: dict[str, str], bea: User) -> None:
    bench, tag = machine(bea, "bench", "read"), full["frames"]
    wish = {"wish": "regrind", "evidence": "phone", **version(bench, tag)}
    assert bench.post(f"frames/{tag}/wishes/", wish).status_code == 200
    why = {"reason": "weighed by mistake"}
    assert bench.post(f"frames/{tag}/voidings/", why).status_code == 200


def test_a_run_is_called_off(full: dict[str, str], bea: User) -> None:
    bench = machine(bea, "bench", "read")
    assert bench.post(f"runs/{full['runs']}/cancellations/").status_code == 200


def test_scrap_comes_back(full: dict[str, str], bea: User) -> None:
    bench = machine(bea, "bench", "read")
    scrap = {"polymer": "PP", "colour": "slate", "heat_passes": 1}
    scrap |= {"scale": "Box scale", "mass": "2 kg"}
    assert bench.post("scrap/", scrap).status_code == 201
    assert Reading.objects.exists()


def test_a_kit_goes_back_into_the_queue(shop: Shop, bea: User) -> None:
    bench = machine(bea, "bench", "read")
    request = customers.asked_screws(shop)
    kit = f"kits/{request.reference}"
    bench.post(f"{kit}/dispatches/")
    secret = {"Story-Secret": intake.link_secret(request)}
    assert Caller().post("story/missing-reports/", **secret).status_code == 200
    assert bench.post(f"{kit}/reposts/").status_code == 200
    assert Request.objects.get().reference == request.reference
    assert bench.post(f"{kit}/returns-to-queue/").status_code in (200, 409)
