"""Spoiled pairs booked at the bench: their grams in a box or wasted, their causes in the report."""

from __future__ import annotations

from typing import Any

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse

from inventory.errors import BadInput
from inventory.ledger.rules import reversing
from inventory.models import Movement, PlaceKind, SpoilCause
from inventory.months.queries import recovered
from returns.spoiling import queries, rules
from returns.spoiling.rules import ScrapHeap, What
from tests.inventory.material.test_material import held
from tests.makers import NOON, Shop, key

pytestmark = pytest.mark.django_db


def booked(shop: Shop, by: User, mass: str = "60 g", **changes: Any) -> Movement:
    what = What(**({"step": "drilling", "cause": "hole-off", "pieces": 3} | changes))
    heaps = [ScrapHeap(mass=mass)]
    return rules.book(
        key=key(), batch=shop.batch, what=what, scale=shop.box_scale, heaps=heaps, at=NOON, by=by
    )


def test_spoiled_pairs_lie_in_the_box_of_scrap_and_never_count_as_returns(
    shop: Shop, bea: User
) -> None:
    booked(shop, bea)
    movement = booked(shop, bea, "40 g", step="moulding", cause="burn", pieces=2, into="waste")
    assert (held(PlaceKind.BOX), held(PlaceKind.FOREIGN)) == (60_000, 40_000)
    report = recovered.of_month("2026-10")
    told = {
        row.key: {name: cell.quantity for name, cell in row.flows.cells.items()}
        for row in report.beyond
    }
    assert told == {
        "scrap.drilling.hole-off": {"scrap": 60_000, "spoiled_pairs": 3},
        "scrap.moulding.burn": {"scrap_wasted": 40_000, "spoiled_pairs": 2},
    }
    assert (report.total.cell("credited").quantity, report.gaps) == (0, ())
    reversing.reverse(key=key(), movement=movement, reason="Another batch.", at=NOON, by=bea)
    report = recovered.of_month("2026-10")
    assert {row.key: row.flows.cell("spoiled_pairs").quantity for row in report.beyond} == {
        "scrap.drilling.hole-off": 3,
        "scrap.moulding.burn": 0,
    }
    assert sum(queries.by_step(shop.batch.code).values()) == 3


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"step": "sale"}, "step"),
        ({"cause": "bad-luck"}, "cause"),
        ({"pieces": 0}, "pieces"),
        ({"pieces": 121}, "pieces"),
        ({"into": "pocket"}, "into"),
        ({"mass": "some"}, "mass"),
    ],
)
def test_what_cannot_be_spoiled_is_refused(
    shop: Shop, bea: User, changes: dict[str, Any], field: str
) -> None:
    with pytest.raises(BadInput) as refused:
        booked(shop, bea, **changes)
    assert refused.value.field == field
    assert not Movement.objects.filter(kind="return_scrap").exists()


def test_all_pairs_of_a_batch_and_no_more_may_be_spoiled_after_the_press(
    shop: Shop, bea: User
) -> None:
    booked(shop, bea, pieces=119)
    booked(shop, bea, pieces=1)
    with pytest.raises(BadInput, match="Only 0 pairs"):
        booked(shop, bea, pieces=1)
    # What the press itself spoiled was never among the good ones.
    booked(shop, bea, step="moulding", cause="flash", pieces=7)
    one = queries.overview().batches[0]
    assert (one.begun, one.spoiled, one.rolled) == (127, 127, 0.0)


def test_the_owner_renames_a_cause_adds_one_and_takes_one_off(shop: Shop, bea: User) -> None:
    SpoilCause.objects.create(code="burn", name="Burnt")
    SpoilCause.objects.create(code="flash", name="Flash", active=False)
    SpoilCause.objects.create(code="hinge", name="Hinge torn")
    offered = SpoilCause.offered()
    assert (offered["burn"], offered["hinge"], "flash" in offered) == ("Burnt", "Hinge torn", False)
    with pytest.raises(BadInput):
        booked(shop, bea, cause="flash")


def test_a_press_hand_books_on_the_page_and_sees_yield_and_causes(
    client: Client, shop: Shop, bea: User
) -> None:
    client.force_login(bea)
    facts = {"batch": shop.batch.code, "step": "groove", "cause": "groove-slipped", "pieces": 6}
    weighed = {"scale": shop.box_scale.pk, "mass": "120 g", "goes": "box"}
    address = reverse("stock-action", args=["spoiled"])
    assert client.post(address, {"key": key(), **facts, **weighed}).status_code == 302
    shown = client.get(reverse("spoiled")).content.decode()
    assert "groove slipped" in shown
    assert "95.0 %" in shown
    assert "100.0 %" in shown
