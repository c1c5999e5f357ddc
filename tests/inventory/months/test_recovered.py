"""The report's figures: they tie out, they are right by hand, and they never change once closed."""

from __future__ import annotations

from datetime import timedelta
from math import sqrt

import pytest

from inventory.ledger.rules import ledger, places
from inventory.ledger.sums import recipes
from inventory.models import ClassPrice, Colour, PlaceKind, Scale, Workshop
from inventory.months import rules as months
from inventory.months.queries import recovered
from inventory.months.queries.recovered.shapes import Class
from inventory.parts import rules as stock
from tests import makers
from tests.inventory import month_makers as made
from tests.inventory.month_makers import DEC_2, NOV, NOV_2, OCT, at, move, weighed_in
from tests.makers import Shop, key

pytestmark = pytest.mark.django_db
RETURN = Class("PP", "slate", "post_consumer_return")
FEEDSTOCK = Class("PP", "slate", "post_consumer_feedstock")


def october() -> recovered.Report:
    return recovered.of_month("2026-10")


def quantities(row: str, report: recovered.Report | None = None) -> dict[str, int]:
    flows = recovered.flows_of(report or october(), row)
    assert flows is not None
    cells = {column: cell.quantity for column, cell in flows.cells.items()}
    return {"opening": flows.opening, **cells, "closing": flows.closing}


def close_through(label: str) -> None:
    for month in ("2026-08", "2026-09", "2026-10", "2026-11"):
        if month <= label:
            months.close(key=key(), label=month, at=DEC_2, by=None)


def test_box_row_by_hand(shop: Shop) -> None:
    made.furnished_october(shop)
    assert quantities("box-pp-slate-post_consumer_return") == {
        "opening": 100_000,
        "credited": 19_400,
        "ground_out": -117_000,
        "dust": -1_500,
        "purge": -800,
        "difference": -100,
        "closing": 0,
    }


def test_lot_rows_by_hand(shop: Shop) -> None:
    made.furnished_october(shop)
    assert quantities("lot-l-2345-6789") == {
        "opening": 0,
        "ground_in": 117_000,
        "issued": -50_000,
        "closing": 67_000,
    }
    assert quantities("lot-l-feed-2222") == {
        "opening": 0,
        "feedstock": 500_000,
        "counted": -2_000,
        "closing": 498_000,
    }


def test_total_ties_and_ground_in_and_out_cancel(shop: Shop) -> None:
    made.furnished_october(shop)
    total = october().total
    assert total.gap == 0
    assert total.cell("ground_in").quantity + total.cell("ground_out").quantity == 0
    assert (total.opening, total.closing) == (100_000, 565_000)


def test_every_row_ties_out_and_the_house_gains_what_came_in(shop: Shop) -> None:
    made.furnished_october(shop)
    report = october()
    assert report.gaps == ()
    rows = (*report.material, *report.shelves)
    assert sum(row.flows.change for row in rows) == 0


def _no_column(*facts: str) -> str:
    """As if somebody had forced a leg into the database that no recipe has."""
    raise KeyError(facts)


def test_row_that_does_not_tie_out_is_named(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    made.furnished_october(shop)
    monkeypatch.setattr(recipes, "column", _no_column)
    assert "lot-l-2345-6789" in october().gaps


def test_every_figure_names_its_movements(shop: Shop) -> None:
    moved = made.furnished_october(shop)
    report = october()
    box = "box-pp-slate-post_consumer_return"
    assert recovered.cell(report, box, "credited").movements == (moved["strip"].number,)
    assert recovered.cell(report, "total", "issued").movements == (moved["issue"].number,)
    assert recovered.cell(report, box, "no-such-column") is None
    assert recovered.cell(report, "no-such-row", "credited") is None


def test_reversal_in_the_same_month_takes_the_figure_back(shop: Shop) -> None:
    moved = made.furnished_october(shop)
    ledger.reverse(key=key(), movement=moved["issue"], reason="wrong lot", at=OCT)
    cell = recovered.cell(october(), "lot-l-2345-6789", "issued")
    assert cell.quantity == 0
    assert len(cell.movements) == 2


def test_frames_are_counted_once_each(shop: Shop) -> None:
    made.furnished_october(shop)
    frames = october().frames
    counts = {name: getattr(frames, name).quantity for name in ("received", "reground", "held")}
    assert counts == {"received": 2, "reground": 1, "held": 1}
    assert (frames.mended.quantity, frames.unmended.quantity, frames.discarded.quantity) == (
        0,
        0,
        0,
    )


@pytest.mark.parametrize(
    ("reason", "counts"), [("mended", (1, 0)), ("as_is", (0, 1)), ("", (0, 1)), ("lenses", (0, 0))]
)
def test_what_is_posted_counts_by_its_reason(reason: str, counts: tuple[int, int]) -> None:
    weighed_in("F-1", 20_000)
    move("carry", (at(PlaceKind.ARRIVALS), at(PlaceKind.BENCH), 20_000), subject="F-1")
    leg = (at(PlaceKind.BENCH), at(PlaceKind.WEARERS), 20_000)
    posted = move("post_frame", leg, subject="F-1", reason=reason)
    frames = october().frames
    assert (frames.mended.quantity, frames.unmended.quantity) == counts
    ledger.reverse(key=key(), movement=posted, reason="came back at once", at=OCT)
    frames = october().frames
    assert (frames.mended.quantity, frames.unmended.quantity) == (0, 0)


def test_difference_found_at_the_scale_is_no_frame_posted() -> None:
    weighed_in("F-1", 20_000)
    move("carry", (at(PlaceKind.ARRIVALS), at(PlaceKind.BENCH), 20_000), subject="F-1")
    move("post_frame", (at(PlaceKind.BENCH), at(PlaceKind.UNEXPLAINED), 10), subject="F-1")
    assert october().frames.unmended.quantity == 0


def test_frame_that_ends_as_waste_is_discarded_not_reground() -> None:
    weighed_in("F-1", 20_000)
    move("strip_down", (at(PlaceKind.ARRIVALS), at(PlaceKind.FOREIGN), 20_000), subject="F-1")
    assert october().frames.discarded.quantity == 1
    assert october().frames.reground.quantity == 0


def test_reversed_weigh_in_is_no_frame_received() -> None:
    movement = weighed_in("F-1", 20_000)
    ledger.reverse(key=key(), movement=movement, reason="counted twice", at=OCT)
    assert october().frames.received.quantity == 0


def test_held_frame_is_counted_at_the_end_of_its_month_only() -> None:
    weighed_in("F-1", 20_000)
    move("carry", (at(PlaceKind.ARRIVALS), at(PlaceKind.HOLD), 20_000), subject="F-1")
    move("carry", (at(PlaceKind.HOLD), at(PlaceKind.BENCH), 20_000), subject="F-1", at=NOV)
    assert october().frames.held.quantity == 1
    assert recovered.of_month("2026-11").frames.held.quantity == 0


def test_spare_parts_in_pieces_by_hand(shop: Shop) -> None:
    outside, screws = places.pieces(PlaceKind.WEARERS), places.bin_of(shop.screw)
    move("post_kit", (screws, outside, 4), subject="Q-1")
    move("fit_part", (screws, outside, 2), subject="F-1")
    stock.receive(key=key(), part=shop.screw, pieces=50, cost_minor=600, at=OCT)
    stock.count(key=key(), part=shop.screw, counted=143, reason="count", at=OCT)
    assert quantities("bin-screw-m14") == {
        "opening": 100,
        "received": 50,
        "mends": -2,
        "kits": -4,
        "counted": -1,
        "closing": 143,
    }


def test_shared_scale_error_adds_linearly_in_the_credited_mass(shop: Shop) -> None:
    """Fine scale: d = 1 mg, e = 10 mg, class II: in-service error 10 mg below 50 g (derived).

    Own part 1/√12 mg each, root sum of squares; shared part 10/√3 mg each, added up.
    Source of both rules: JCGM 100:2008, 5.2.2 note 1 and F.2.2.1 (as in `weighing.sums`).
    """
    for tag in ("F-1", "F-2", "F-3"):
        weighed_in(tag, 20_000)
        made.stripped(shop, tag, "20.000 g")
    trust = october().trust
    expected_mg = 2 * sqrt(3 * (1 / sqrt(6)) ** 2 + (3 * 10 / sqrt(3)) ** 2)
    assert (trust.credited_mg, trust.weighed_mg, trust.readings) == (60_000, 60_000, 3)
    assert trust.expanded_ug == pytest.approx(expected_mg * 1000, abs=4)


def test_reading_of_a_reversed_credit_leaves_no_uncertainty(shop: Shop) -> None:
    weighed_in("F-1", 20_000)
    movement = made.stripped(shop, "F-1", "20.000 g")
    ledger.reverse(key=key(), movement=movement, reason="other box", at=OCT)
    trust = october().trust
    assert (trust.credited_mg, trust.readings, trust.expanded_ug) == (0, 0, 0)


def test_credit_without_a_reading_is_counted_apart(shop: Shop) -> None:
    weighed_in("F-1", 20_000)
    move("strip_down", (at(PlaceKind.ARRIVALS), made.box(shop), 20_000), subject="F-1")
    assert (october().trust.unweighed_postings, october().trust.weighed_mg) == (1, 0)


def test_flags_of_scales_are_listed(shop: Shop) -> None:
    Scale.objects.filter(pk=shop.fine_scale.pk).update(check_due=None)
    shop.fine_scale.refresh_from_db()
    weighed_in("F-1", 20_000)
    made.stripped(shop, "F-1", "20.000 g")
    assert october().trust.flags == (("Fine scale", "no_check_date", 1),)


def worth_of(material: Class, label: str = "2026-10") -> object:
    return next(w for w in recovered.of_month(label).worth if w.material == material)


def test_value_of_returns_by_hand(shop: Shop) -> None:
    """Cost 160 (strip) + 240 (grind) over what bears it: issue 50 g, difference 0.1 g, stock 67 g.

    400 · 67000/117100 = 228.86, 400 · 50000/117100 = 170.79, 400 · 100/117100 = 0.34;
    largest remainders give 229 + 171 + 0 = 400. Constructed.
    """
    made.furnished_october(shop)
    worth = worth_of(RETURN)
    assert (worth.received_mg, worth.received_minor) == (19_400, 400)
    assert (worth.issued_minor, worth.written_off_minor, worth.cost_minor) == (171, 0, 229)
    assert (worth.normal_loss_mg, worth.written_off_mg) == (2_300, 100)
    assert worth.closing_mg == october().of(RETURN).closing
    assert worth.realisable_minor is None


def test_stock_is_carried_at_the_lower_of_cost_and_what_it_would_fetch(shop: Shop) -> None:
    made.furnished_october(shop)
    price = ClassPrice.objects.create(
        polymer=shop.pp,
        origin=FEEDSTOCK.origin,
        price_minor_per_kg=95,
        for_sale=True,
        to_complete_minor_per_kg=10,
        to_sell_minor_per_kg=5,
    )
    worth = worth_of(FEEDSTOCK)
    assert (worth.cost_minor, worth.realisable_minor, worth.carried_minor) == (448, 39, 39)
    price.price_minor_per_kg = 5_000
    price.save()
    assert worth_of(FEEDSTOCK).carried_minor == 448


def test_price_of_a_colour_goes_before_the_price_of_all(shop: Shop) -> None:
    made.furnished_october(shop)
    for colour, price in ((None, 100), (shop.slate, 200)):
        ClassPrice.objects.create(
            polymer=shop.pp,
            origin=FEEDSTOCK.origin,
            colour=colour,
            price_minor_per_kg=price,
            for_sale=True,
        )
    assert worth_of(FEEDSTOCK).realisable_minor == 99


def test_write_down_is_kept_into_the_next_month_and_reversed_no_further(shop: Shop) -> None:
    made.furnished_october(shop)
    price = ClassPrice.objects.create(
        polymer=shop.pp, origin=FEEDSTOCK.origin, price_minor_per_kg=80, for_sale=True
    )
    close_through("2026-10")
    price.price_minor_per_kg = 9_000
    price.save()
    november = recovered.of_month("2026-11")
    worth = worth_of(FEEDSTOCK, "2026-11")
    assert (worth.allowance_before_minor, worth.allowance_minor) == (409, 0)
    assert [(line.account, line.debit_minor, line.credit_minor) for line in november.journal] == [
        ("stock_allowance", 409, 0),
        ("write_down", 0, 409),
    ]


def test_allowance_leaves_with_the_material_that_is_issued(shop: Shop) -> None:
    made.furnished_october(shop)
    ClassPrice.objects.create(
        polymer=shop.pp, origin=FEEDSTOCK.origin, price_minor_per_kg=80, for_sale=True
    )
    bought = places.Place.objects.get(code="lot-l-feed-2222")
    move("issue", (bought, at(PlaceKind.PRESS), 249_000), at=NOV)
    lines = [line for line in recovered.of_month("2026-11").journal if line.material == FEEDSTOCK]
    left = [line for line in lines if line.text_key == "allowance_left_with_material"]
    assert [(line.account, line.debit_minor) for line in left] == [
        ("stock_allowance", 205),
        ("material_used", 0),
    ]


@pytest.mark.parametrize("label", ["2026-08", "2026-10", "2026-11"])
def test_journal_balances(shop: Shop, label: str) -> None:
    made.furnished_october(shop)
    lines = recovered.of_month(label).journal
    assert sum(line.debit_minor for line in lines) == sum(line.credit_minor for line in lines)


def test_value_is_carried_through_open_months_as_through_closed_ones(shop: Shop) -> None:
    made.furnished_october(shop)
    bought = places.Place.objects.get(code="lot-l-feed-2222")
    move("issue", (bought, at(PlaceKind.PRESS), 100_000), at=NOV)
    before = recovered.of_month("2026-11")
    close_through("2026-10")
    assert recovered.of_month("2026-11") == before


def test_reversal_of_an_earlier_month_is_written_off_at_the_average(shop: Shop) -> None:
    moved = made.furnished_october(shop)
    close_through("2026-10")
    ledger.reverse(key=key(), movement=moved["issue"], reason="came back", at=NOV)
    worth = worth_of(RETURN, "2026-11")
    assert (worth.received_mg, worth.received_minor, worth.closing_mg) == (50_000, 0, 117_000)
    assert worth.cost_minor == 229


def test_what_came_in_late_is_listed_in_the_open_month(shop: Shop) -> None:
    made.furnished_october(shop)
    close_through("2026-10")
    movement = weighed_in("F-LATE", 21_000, at_=OCT + timedelta(days=3))
    (late,) = recovered.of_month("2026-11").late
    assert (late.number, late.belongs_to, late.happened_on, late.mass_mg) == (
        movement.number,
        "2026-10",
        "2026-10-17",
        21_000,
    )
    assert recovered.of_month("2026-10").late == ()


def test_closed_report_never_changes(shop: Shop) -> None:
    made.furnished_october(shop)
    before = recovered.canonical(october())
    close_through("2026-10")
    weighed_in("F-LATE", 21_000)
    ClassPrice.objects.create(polymer=shop.pp, origin=RETURN.origin, price_minor_per_kg=1)
    Workshop.objects.update(name="Another name", currency="GBP")
    Colour.objects.filter(pk=shop.slate.pk).update(name="Stone")
    Scale.objects.update(calibration_u_ug=9_000)
    Scale.objects.filter(pk=shop.fine_scale.pk).update(name="Renamed scale")
    assert recovered.canonical(october()) == before


def test_open_month_that_cannot_be_valued_says_so_instead_of_failing(shop: Shop) -> None:
    """Issued in October by its date, made in November: the class is short in October."""
    flake = made.lot(shop)
    makers.opening(10_000, shop)
    move("receive_feedstock", (at(PlaceKind.SELLERS), flake, 20_000), at=NOV)
    move("issue", (flake, at(PlaceKind.PRESS), 20_000), at=OCT)
    assert october().unvalued == (str(RETURN),)


def test_later_months_do_not_reach_into_earlier_ones(shop: Shop) -> None:
    made.furnished_october(shop)
    before = recovered.canonical(october())
    weighed_in("F-NOV", 20_000, at_=NOV)
    made.stripped(shop, "F-NOV", "20.000 g", at_=NOV)
    assert recovered.canonical(october()) == before
    assert NOV_2 < NOV
