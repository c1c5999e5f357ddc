"""Audits on their pages, on the desk, and over the API."""

from __future__ import annotations

import re
import uuid
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.test import Client

from returns.models import WeighAudit
from tests.api.callers import machine
from tests.makers import NOON, Shop
from tests.returns import owner_makers as made

NOW = NOON
pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("still_clock")]

MONTH = NOON.strftime("%Y-%m")


@pytest.fixture
def lot(shop: Shop) -> Shop:
    for _ in range(6):
        made.frame(shop)
    return shop


def plain(answer: Any) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.content.decode()))


def drawn(owner: Client, **changes: str) -> Any:
    facts = {"key": str(uuid.uuid4()), "month": MONTH, "quality_limit": "6.5"} | changes
    return owner.post("/owner/audits/", facts)


def test_the_owner_draws_the_bench_weighs_and_the_lot_is_judged(
    owner: Client, lot: Shop, bea: User
) -> None:
    page = drawn(owner)["Location"]
    audit = WeighAudit.objects.get()
    assert page == f"/owner/audits/{audit.pk}/"
    assert f"Audit of {MONTH}: 2 frames to weigh again." in plain(owner.get("/desk/"))
    bench = Client()
    bench.force_login(bea)
    assert f"Audit of {MONTH}: 2 frames to weigh again." in plain(bench.get("/desk/"))
    waiting = bench.get(page)
    assert "2 frames drawn of 6, quality limit 6.5 %; accepted with at most 0 wrong." in plain(
        waiting
    )
    assert "24.82 g" not in plain(waiting)
    facts = {"key": str(uuid.uuid4()), "scale": lot.fine_scale.pk}
    facts |= {f"mass-{one.frame.tag}": "24.82 g" for one in audit.frames.all()}
    for _ in range(2):
        assert bench.post(page, facts).status_code == 302
    done = plain(bench.get(page))
    assert "Accepted: 0 wrong weigh-ins in the sample." in done
    assert audit.seed in done
    assert "to weigh again" not in plain(bench.get("/desk/"))
    assert "accepted" in plain(owner.get("/owner/audits/"))


def test_what_the_plan_can_tell_is_drawn_and_can_be_downloaded(owner: Client, lot: Shop) -> None:
    page = drawn(owner)["Location"]
    shown = owner.get(page).content.decode()
    assert shown.count('class="chart-svg"') == shown.count("chart-narrow") == 1
    assert " style=" not in shown
    rows = owner.get(f"{page}chances.csv").content.decode().splitlines()
    # Two of six drawn, none may be wrong: C(6 - w, 2) / C(6, 2).
    assert rows == [
        "wrong_in_lot,chance",
        "0,1.000000",
        "1,0.666667",
        "2,0.400000",
        "3,0.200000",
        "4,0.066667",
        "5,0.000000",
    ]


@pytest.mark.parametrize(
    "changes",
    [
        {"month": "x"},
        {"month": ""},
        {"month": "2026-01"},
        {"quality_limit": "3"},
        {"key": "no"},
        {"month": "\x00"},
    ],
)
def test_a_draw_that_cannot_be_is_said(owner: Client, lot: Shop, changes: dict[str, str]) -> None:
    answer = drawn(owner, **changes)
    assert answer.status_code == 400
    assert 'role="alert"' in answer.content.decode()
    assert not WeighAudit.objects.exists()


@pytest.mark.parametrize("typed", ["", "heavy", "-1 g", "24.8200001 g", "\x00"])
def test_masses_that_cannot_be_are_said(owner: Client, lot: Shop, typed: str) -> None:
    page = drawn(owner)["Location"]
    audit = WeighAudit.objects.get()
    facts = {"key": str(uuid.uuid4()), "scale": lot.fine_scale.pk}
    facts |= {f"mass-{one.frame.tag}": typed for one in audit.frames.all()}
    answer = owner.post(page, facts)
    assert answer.status_code == 400
    assert 'role="alert"' in answer.content.decode()
    audit.refresh_from_db()
    assert audit.state == "open"


@pytest.mark.parametrize("number", [0, 999, 10**30])
def test_an_audit_that_is_none_is_not_found(owner: Client, lot: Shop, number: int) -> None:
    for path in (f"/owner/audits/{number}/", f"/owner/audits/{number}/chances.csv"):
        assert owner.get(path).status_code == 404


def test_a_machine_draws_weighs_and_reads(lot: Shop, olga: User, bea: User) -> None:
    owner, bench = machine(olga, "owner", "read"), machine(bea, "bench", "read")
    answer = owner.post("weigh-audits/", {"month": MONTH, "quality_limit_percent": "6.5"})
    assert answer.status_code == 201, answer.content
    audit = answer.json()
    assert len(audit["frames"]) == 2
    at = f"weigh-audits/{audit['number']}/"
    masses = [{"frame": one["frame"], "mass": "24.82 g"} for one in audit["frames"]]
    done = bench.post(f"{at}results/", {"scale": lot.fine_scale.name, "masses": masses})
    assert done.status_code == 200, done.content
    assert done.json()["state"] == "passed"
    assert {one["verdict"] for one in bench.get(at).json()["frames"]} == {"agrees"}
    listed = bench.get("weigh-audits/?state=passed").json()
    assert [one["number"] for one in listed["results"]] == [audit["number"]]
