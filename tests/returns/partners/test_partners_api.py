"""Drop-off partners told by a program: the owner enters them, the bench books their boxes."""

from __future__ import annotations

from urllib.parse import urlsplit

import pytest
from django.contrib.auth.models import User
from django.test import Client

from inventory.models import RequestKey
from returns.models import Parcel, Partner, ReturnedFrame
from tests.api.callers import Caller, machine, pointers, refused
from tests.makers import Shop

pytestmark = pytest.mark.django_db


@pytest.fixture
def owner(olga: User) -> Caller:
    return machine(olga, "owner", "bench")


def entered(owner: Caller, name: str = "Lantern Optics") -> int:
    made = owner.post("partners/", {"name": name, "town": "Saltmarsh"})
    assert made.status_code == 201, made.content
    return int(made.json()["number"])


def test_a_partner_is_entered_given_slips_and_its_box_is_weighed_in(
    shop: Shop, owner: Caller, bea: User
) -> None:
    number = entered(owner)
    for _again in range(2):
        sheet = owner.post(f"partners/{number}/sheets/", {"count": 3}, key="the-first-sheet")
        assert (sheet.status_code, sheet.json()["sheet"]) == (201, 1)
    codes = sheet.json()["codes"]
    assert len(codes) == 3
    bench = machine(bea, "bench")
    for _again in range(2):
        box = bench.post("partner-boxes/", {"scans": codes[:2]}, key="box-of-tuesday")
        assert box.status_code == 201, box.content
    assert Parcel.objects.count() == 1
    body = {"scale": "Fine scale", "mass": "24.82", "cleaned": True, "slip": codes[0]}
    frame = bench.post(f"parcels/{box.json()['code']}/frames/", body)
    assert frame.status_code == 201, frame.content
    assert ReturnedFrame.objects.get().partner_slip.code == codes[0]  # type: ignore[union-attr]
    rows = owner.get(f"partners/{number}/slips/").json()["results"]
    told = {row["code"]: row["state"] for row in rows}
    assert [told[code] for code in codes] == ["unfiled", "unfiled", "unused"]
    again = refused(bench.post("partner-boxes/", {"scans": codes[:1]}), 400, "bad-input")
    assert pointers(again) == {"#/scans"}


def test_the_private_link_is_read_and_never_kept_in_an_answer(
    shop: Shop, owner: Caller, client: Client
) -> None:
    number = entered(owner)
    link = owner.get(f"partners/{number}/").json()["link"]
    assert client.get(urlsplit(link).path).status_code == 200
    renewed = owner.post(f"partners/{number}/links/")
    assert "link" not in renewed.json()
    secret = link.rstrip("/").rpartition("/")[2]
    assert not any(secret in str(row.body) for row in RequestKey.objects.all())
    assert owner.get(f"partners/{number}/").json()["link"] != link
    assert owner.post(f"partners/{number}/closings/").json()["closed_at"] is not None
    assert owner.get(f"partners/{number}/").json()["link"] == ""
    refused(owner.post(f"partners/{number}/closings/"), 409, "stale-state")
    refused(owner.post(f"partners/{number}/sheets/", {"count": 8}), 409, "stale-state")


def test_partners_are_the_owners(owner: Caller, bea: User, shop: Shop) -> None:
    number = entered(owner)
    bench = machine(bea, "bench")
    refused(bench.get(f"partners/{number}/slips/"), 403, "forbidden")
    refused(owner.post("partners/", {"name": "lantern optics"}), 400, "bad-input")
    refused(owner.get("partners/999999/"), 404, "not-found")
    assert Partner.objects.count() == 1
