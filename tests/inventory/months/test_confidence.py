"""How well the report's masses are known."""

from __future__ import annotations

import json
from collections import Counter
from dataclasses import fields
from datetime import date

import pytest
from django.db.models import Q

from inventory.models import ClassPrice, Place, PlaceKind, Posting, Reading
from inventory.models.materials import Origin
from inventory.months import rules as months
from inventory.months.queries import months as standing
from inventory.months.queries import recovered
from inventory.months.queries.recovered import flows
from inventory.months.queries.replays import replayed
from inventory.weighing import rules as weighing
from inventory.weighing.sums.traced import MassUncertainty, MassWithReadings
from tests.inventory.month_makers import (
    DEC_2,
    NOV,
    OCT,
    at,
    box,
    doubt_ug,
    furnished_october,
    lot,
    move,
    stripped,
    weighed_in,
)
from tests.makers import Shop, key

pytestmark = pytest.mark.django_db


def october() -> recovered.Report:
    return recovered.of_month("2026-10")


def known(report: recovered.Report, row: str, column: str) -> MassUncertainty:
    return report.known_of(row, column)


def test_every_mass_of_the_report_is_traced_to_the_milligram(shop: Shop) -> None:
    furnished_october(shop)
    report = october()
    cells = flows.masses(replayed(["2026-10"])["2026-10"])
    for row in (*report.material, *report.shelves):
        mine = cells.get(row.place, {})
        data = {column: cell.quantity for column, cell in row.flows.cells.items()}
        data |= {"opening": row.flows.opening, "closing": row.flows.closing}
        for column, mass_mg in data.items():
            assert mine.get(column, MassWithReadings()).mass_mg == mass_mg, (row.place, column)


def test_closing_is_known_by_what_is_left_and_not_by_opening_and_flows_again(shop: Shop) -> None:
    """A box filled by one reading and ground whole: its closing is nothing, known without doubt,
    and the total is what lies in the lot, by the flake's own reading."""
    weighed_in("F-AAAA-1111", 19_400)
    stripped(shop, "F-AAAA-1111", "19.400 g")
    flake = weighing.read(scale=shop.fine_scale, typed="19.400 g", at=OCT)
    move("grind", (box(shop), lot(shop), 19_400), reading=flake, subject="G-2222-3333")
    report = october()
    put_in = Reading.objects.get(postings__movement__kind="strip_down")
    whole_ug = doubt_ug([(1, put_in)])
    assert known(report, box(shop).code, "credited").expanded_ug == pytest.approx(whole_ug, abs=1)
    assert known(report, box(shop).code, "closing") == MassUncertainty()
    flake_ug = doubt_ug([(1, flake)])
    assert known(report, "total", "closing").expanded_ug == pytest.approx(flake_ug, abs=1)
    assert known(report, "total", "closing").readings == 1


def test_a_month_opens_as_well_known_as_the_one_before_it_closed(shop: Shop) -> None:
    """A lot that was issued to the milligram is empty, though its three weighings differ."""
    bought, other = (lot(shop, f"L-FEED-{n}{n}{n}{n}", Origin.FEEDSTOCK) for n in (2, 3))
    supply, mould = at(PlaceKind.SELLERS), at(PlaceKind.PRESS)
    for leg, typed in (
        ((supply, bought), "100.000 g"),
        ((supply, other), "50.000 g"),
        ((bought, mould), "60.000 g"),
        ((bought, mould), "40.000 g"),
    ):
        reading = weighing.read(scale=shop.fine_scale, typed=typed, at=OCT)
        kind = "receive_feedstock" if leg[0] == supply else "issue"
        move(kind, (*leg, reading.mass_mg), reading=reading)
    left = Reading.objects.get(mass_mg=50_000)
    left_ug = doubt_ug([(1, left)])
    closing = known(october(), "total", "closing")
    assert closing.expanded_ug == pytest.approx(left_ug, abs=1)
    assert known(october(), bought.code, "closing") == MassUncertainty()
    assert known(recovered.of_month("2026-11"), "total", "opening") == closing
    for label in ("2026-08", "2026-09", "2026-10"):
        months.close(key=key(), label=label, at=DEC_2, by=None)
    assert known(recovered.of_month("2026-11"), "total", "opening") == closing
    (newest, *_rest) = [row for row in standing.listed(DEC_2) if row.month]
    assert (newest.label, newest.closing_known) == ("2026-10", closing)


def test_what_nobody_weighed_is_told_and_not_made_up(shop: Shop) -> None:
    furnished_october(shop)
    data = known(october(), "total", "opening")
    assert (data.booked_mg, data.is_weighed, data.expanded_ug) == (100_000, False, 0)


def test_a_month_starts_from_the_snapshot_as_from_the_first_posting(shop: Shop) -> None:
    furnished_october(shop)
    weighed_in("F-AAAA-3333", 19_400, at_=NOV)
    stripped(shop, "F-AAAA-3333", "19.400 g", at_=NOV)
    afresh = replayed(["2026-11"])["2026-11"].opened
    before = json.loads(recovered.canonical(recovered.of_month("2026-11")))["known"]
    for label in ("2026-08", "2026-09", "2026-10"):
        months.close(key=key(), label=label, at=DEC_2, by=None)
    kept = replayed(["2026-11"])["2026-11"].opened
    assert {account: held.known() for account, held in kept.items()} == {
        account: held.known() for account, held in afresh.items()
    }
    assert json.loads(recovered.canonical(recovered.of_month("2026-11")))["known"] == before


def test_canonical_figures_keep_what_is_in_doubt_of_a_place_without_a_row(shop: Shop) -> None:
    """A count brings the differences back to nothing; in November nothing moves there."""
    furnished_october(shop)
    bought = Place.objects.get(code="lot-l-feed-2222")
    move("count_mass", (bought, at(PlaceKind.UNEXPLAINED), 97_900))
    report = recovered.of_month("2026-11")
    assert "unexplained" not in [row.place for row in report.shelves]
    data = json.loads(recovered.canonical(report))
    assert data["known"]["unexplained"]["closing"]["booked_mg"] > 0
    rows = {row["place"] for name in ("material", "shelves") for row in data[name]}
    classes = {row.split()[0] for row in set(data["known"]) - rows}
    assert classes == {"unexplained", "total", "class", "origin"}
    assert {*data} - {"known"} == {
        field.name
        for field in fields(report)
        if field.name not in ("settled", "total", "classes", "origins", "postings")
    }


def test_scale_past_its_check_is_marked_at_each_figure_and_listed(shop: Shop) -> None:
    shop.fine_scale.check_due = date(2026, 10, 1)
    shop.fine_scale.save()
    furnished_october(shop)
    report = october()
    assert report.flags == (("Fine scale", "past_check", 1),)
    flag = ((str(shop.fine_scale.pk), "past_check"), 1)
    assert known(report, box(shop).code, "credited").flags == (flag,)
    assert known(report, "total", "credited").flags == (flag,)


def on_hold_at_close(label: str) -> list[str]:
    """Subjects with mass on the hold shelf at the end of a month, from all postings there."""
    mass: Counter[str] = Counter()
    for shelf in Place.objects.filter(kind=PlaceKind.HOLD):
        rows = Posting.objects.filter(movement__month__lte=label).select_related("movement")
        for posting in rows.filter(Q(source=shelf) | Q(target=shelf)):
            sign = 1 if posting.target_id == shelf.pk else -1
            mass[posting.movement.subject] += sign * posting.quantity
    return sorted(subject for subject, mass_mg in mass.items() if subject and mass_mg > 0)


def test_frames_on_hold_are_the_same_from_the_snapshot_as_from_all_postings(shop: Shop) -> None:
    furnished_october(shop)
    weighed_in("F-AAAA-4444", 20_000, at_=NOV)
    hold = (at(PlaceKind.ARRIVALS), at(PlaceKind.HOLD), 20_000)
    move("carry", hold, at=NOV, subject="F-AAAA-4444")
    back = (at(PlaceKind.HOLD), at(PlaceKind.BENCH), 23_900)
    for label in ("2026-08", "2026-09", "2026-10"):
        months.close(key=key(), label=label, at=DEC_2, by=None)
    for label in ("2026-10", "2026-11"):
        held = recovered.of_month(label).frames.held
        assert held.quantity == len(on_hold_at_close(label)) > 0
    move("carry", back, at=NOV, subject="F-AAAA-2222")
    assert recovered.of_month("2026-11").frames.held.quantity == 1
    assert on_hold_at_close("2026-11") == ["F-AAAA-4444"]


def test_the_worth_goes_from_opening_to_closing_in_lines_that_tie(shop: Shop) -> None:
    """By hand: 450 bought, 160 for the strip-down, 240 for grinding (see `furnished_october`)."""
    ClassPrice.objects.create(
        polymer=shop.pp,
        origin="post_consumer_feedstock",
        price_minor_per_kg=95,
        for_sale=True,
        to_complete_minor_per_kg=10,
        to_sell_minor_per_kg=5,
    )
    furnished_october(shop)
    report = october()
    steps = dict(report.worth_steps)
    assert (steps["bought"], steps["recovered"], steps["converted"]) == (450, 160, 240)
    assert steps["otherwise"] == 0
    names = [name for name, _amount in report.worth_steps]
    turn = names.index("cost")
    assert sum(steps[name] for name in names[:turn]) == steps["cost"]
    assert sum(steps[name] for name in names[turn:-1]) == steps["carried"] == report.carried_minor
    assert steps["written_down"] == -(448 - 39)
    for row in report.worth:
        taken = row.issued_minor + row.written_off_minor
        assert row.opening_minor + row.received_minor - taken == row.cost_minor


def test_the_allowance_opens_next_month_as_it_closed_and_the_steps_tie_again(shop: Shop) -> None:
    ClassPrice.objects.create(
        polymer=shop.pp,
        origin="post_consumer_feedstock",
        price_minor_per_kg=95,
        for_sale=True,
        to_complete_minor_per_kg=10,
        to_sell_minor_per_kg=5,
    )
    furnished_october(shop)
    bought = lot(shop, "L-FEED-3333", Origin.FEEDSTOCK)
    move("receive_feedstock", (at(PlaceKind.SELLERS), bought, 100_000), cost_minor=50, at=NOV)
    move("issue", (bought, at(PlaceKind.PRESS), 60_000), at=NOV)
    october_carried = dict(october().worth_steps)["carried"]
    steps = dict(recovered.of_month("2026-11").worth_steps)
    assert steps["opening"] + steps["allowance_before"] == october_carried
    after = ("allowance_before", "allowance_left", "written_down")
    assert steps["cost"] + sum(steps[name] for name in after) == steps["carried"]
    assert steps["allowance_left"] > 0
