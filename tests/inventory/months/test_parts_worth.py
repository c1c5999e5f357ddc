"""Spare parts at their periodic weighted average, and write-downs by the owner's policy."""

from __future__ import annotations

import json

import pytest

from inventory.errors import MonthNotReady
from inventory.ledger.rules import ledger, places
from inventory.models import (
    ClassPrice,
    Month,
    Movement,
    Part,
    PlaceKind,
    Posting,
    Workshop,
    WriteDown,
)
from inventory.months import rules as months
from inventory.months.queries import audit, recovered
from inventory.months.queries.recovered.shapes import PartWorth
from inventory.months.sums.valuation import PiecesMonth, value_pieces
from inventory.parts import rules as stock
from tests.inventory import month_makers as made
from tests.inventory.month_makers import DEC_2, NOV, OCT
from tests.makers import Shop, key

pytestmark = pytest.mark.django_db

PAD = "nose-pad"


def pad() -> Part:
    return Part.objects.get_or_create(code=PAD, defaults={"name": "Nose pad"})[0]


def closed(*labels: str) -> None:
    for label in labels:
        months.close(key=key(), label=label, at=DEC_2, by=None)


def bought(shop: Shop, pieces: int, cost_minor: int, at: object = OCT) -> Movement:
    return stock.receive(key=key(), part=pad(), pieces=pieces, cost_minor=cost_minor, at=at)


def kit(shop: Shop, pieces: int, at: object = OCT) -> Movement:
    legs = (places.bin_of(pad()), places.pieces(PlaceKind.WEARERS), pieces)
    return made.move("post_kit", legs, at=at, subject="K-1")


def worth(label: str) -> PartWorth:
    return next(row for row in recovered.of_month(label).parts_worth if row.part == PAD)


def test_periodic_average_of_the_published_example() -> None:
    """Edwards and Hermanson, Accounting Principles: A Business Perspective (CC BY 3.0),
    Exhibits 53 to 55: 80 units at 690.00, 8.625 each; 20 left are 172.50, 60 sold 517.50.

    The unit cost is printed there; the two products are worked out from it.
    """
    month = PiecesMonth(
        opening=10,
        opening_minor=8_000,
        received=70,
        received_minor=8_500 + 16_800 + 9_000 + 17_600 + 9_100,
        mends=25,
        kits=35,
        found=0,
    )
    cost = value_pieces(month)
    assert month.available_minor == 69_000
    assert (cost.mends_minor + cost.kits_minor, cost.closing_minor) == (51_750, 17_250)


def test_kits_count_differences_and_stock_share_the_cost_to_the_cent(shop: Shop) -> None:
    bought(shop, 100, 350)
    bought(shop, 50, 250)
    kit(shop, 4)
    stock.count(key=key(), part=pad(), counted=139, reason="counted", at=OCT)
    row = worth("2026-10")
    # 600 cents over 150 pieces: four cents each.
    assert (row.kits_minor, row.found, row.missing_minor) == (16, -7, 28)
    assert (row.closing, row.cost_minor) == (139, 556)


def test_parts_journal_balances_and_ties_to_the_worth(shop: Shop) -> None:
    bought(shop, 7, 100)
    kit(shop, 2)
    lines = [line for line in recovered.of_month("2026-10").parts_journal if line.part == PAD]
    assert sum(line.debit_minor for line in lines) == sum(line.credit_minor for line in lines)
    stock_minor = sum(
        line.debit_minor - line.credit_minor for line in lines if line.account == "parts_stock"
    )
    assert stock_minor == worth("2026-10").cost_minor == 71
    assert {line.account for line in lines} == {"parts_stock", "parts_purchases", "parts_kits"}


def test_what_is_found_over_comes_in_at_no_cost(shop: Shop) -> None:
    bought(shop, 10, 100)
    stock.count(key=key(), part=pad(), counted=20, reason="counted", at=OCT)
    assert (worth("2026-10").closing, worth("2026-10").cost_minor) == (20, 100)


def test_purchase_taken_back_a_month_later_is_missing_at_the_average(shop: Shop) -> None:
    first = bought(shop, 10, 100)
    bought(shop, 10, 300)
    closed("2026-08", "2026-09", "2026-10")
    ledger.reverse(key=key(), movement=first, reason="sent back", at=NOV)
    row = worth("2026-11")
    assert (row.received_minor, row.found, row.missing_minor, row.cost_minor) == (0, -10, 200, 200)


def test_worth_of_parts_is_carried_through_open_months_as_through_closed_ones(shop: Shop) -> None:
    bought(shop, 9, 100)
    kit(shop, 2)
    kit(shop, 3, NOV)
    before = recovered.of_month("2026-11")
    closed("2026-08", "2026-09", "2026-10")
    assert recovered.of_month("2026-11") == before
    assert [PAD, [7, 78]] in Month.objects.get(label="2026-10").figures["part_values"]


def test_parts_of_months_without_worth_are_taken_onto_the_books_once(shop: Shop) -> None:
    """A month closed by an earlier edition keeps its figures; the next one brings the parts in."""
    bought(shop, 10, 100)
    old = recovered.frozen_now() | {"edition": 2, "values": [], "traced": []}
    del old["write_down"]
    # Written as a version before this one wrote it: its row has no worth of parts.
    Month.objects.create(
        label="2026-10", closed_at=NOV, digest="0" * 64, last_number=1, figures=old
    )
    assert recovered.of_month("2026-10").parts_worth == ()
    assert "parts_worth" not in json.loads(recovered.canonical(recovered.of_month("2026-10")))
    row = worth("2026-11")
    assert (row.opening_minor, row.taken_on_minor) == (100, 100)
    lines = [line for line in recovered.of_month("2026-11").parts_journal if line.part == PAD]
    assert [(line.account, line.debit_minor, line.credit_minor) for line in lines] == [
        ("parts_stock", 100, 0),
        ("parts_taken_on", 0, 100),
    ]


def priced(shop: Shop, **price: object) -> None:
    made.furnished_october(shop)
    ClassPrice.objects.create(
        polymer=shop.pp, origin="post_consumer_feedstock", price_minor_per_kg=95, **price
    )


def allowances(label: str = "2026-10") -> int:
    return sum(row.allowance_minor for row in recovered.of_month(label).worth)


def test_flake_for_own_moulding_is_carried_at_cost_by_default(shop: Shop) -> None:
    priced(shop)
    assert allowances() == 0
    assert recovered.of_month("2026-10").write_down.rule == WriteDown.FOR_MOULDING


def test_class_that_is_kept_for_sale_is_written_down_all_the_same(shop: Shop) -> None:
    priced(shop, for_sale=True)
    assert allowances() == 448 - 47


def test_owner_who_expects_to_sell_below_cost_writes_everything_down(shop: Shop) -> None:
    priced(shop)
    Workshop.objects.update(write_down=WriteDown.LOWEST, write_down_reason="sells below cost")
    assert allowances() == 448 - 47


def test_closed_month_keeps_the_policy_of_its_close(shop: Shop) -> None:
    priced(shop)
    closed("2026-08", "2026-09", "2026-10")
    Workshop.objects.update(write_down=WriteDown.LOWEST, write_down_reason="sells below cost")
    assert allowances() == 0
    assert allowances("2026-11") == 448 - 47
    assert all(check.ok for check in audit.check())


def test_part_that_cannot_be_valued_keeps_the_month_open(shop: Shop) -> None:
    """Forced into the database past the ledger: more left the bin than was ever there."""
    bought(shop, 2, 100)
    movement = kit(shop, 2)
    Posting.objects.bulk_create(
        [
            Posting(
                movement=movement,
                line=2,
                source=places.bin_of(pad()),
                target=places.pieces(PlaceKind.WEARERS),
                quantity=5,
            )
        ]
    )
    assert recovered.of_month("2026-10").unvalued == (PAD,)
    with pytest.raises(MonthNotReady):
        closed("2026-08", "2026-09", "2026-10")
