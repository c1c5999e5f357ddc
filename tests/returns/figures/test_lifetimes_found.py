"""Cohorts, curves and forecasts from sales and weigh-ins, against small cases worked by hand."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any

import pytest
from django.utils import translation

from inventory.ledger.rules import ledger, places
from inventory.models import PlaceKind
from inventory.months.sums.calendar_month import Month
from inventory.parts import rules as stock
from returns.figures.circularity.pages import shown
from returns.figures.forecast.queries.forecast import forecast, part_proposals
from returns.figures.forecast.queries.run_off import outstanding
from returns.figures.forecast.sums.cohorts import SoldCohort
from returns.figures.lifetimes.pages import lifetime_tables
from returns.figures.lifetimes.queries.lifetimes import Cohorts, cohorts, lifetimes
from returns.figures.span.queries import Scope, by_index, index
from returns.models import ProductionBatch
from tests.makers import NOON, Shop, key
from tests.returns import owner_makers as made

pytestmark = pytest.mark.django_db

SEPTEMBER = Month(2026, 9)


def came(shop: Shop, month: int, count: int = 1, **changes: object) -> None:
    for _ in range(count):
        made.frame(shop, at=datetime(2026, month, 10, 10, tzinfo=UTC), **changes)


def ages(found: Cohorts) -> list[tuple[int, int, tuple[int, ...]]]:
    """Month number within 2026, units sold, returns by age."""
    return [
        (cohort.month - 2026 * 12 + 1, cohort.sold, cohort.returned_by_age)
        for cohort in found.cohorts
    ]


def test_a_return_counts_at_its_age_in_months(shop: Shop) -> None:
    made.sold(shop.batch, m2026_05=40)
    came(shop, 5)
    came(shop, 7, 2)
    found = cohorts(Scope(), as_of=SEPTEMBER)
    # What came back in the month of sale itself is booked at age 1.
    assert ages(found) == [(5, 40, (1, 2, 0, 0))]
    assert (found.sold, found.returned, found.unmatched) == (40, 3, 0)


def test_returns_are_laid_on_months_of_sale_by_units_still_out(shop: Shop) -> None:
    made.sold(shop.batch, m2026_05=30, m2026_06=10)
    came(shop, 8, 4)
    found = cohorts(Scope(), as_of=SEPTEMBER)
    assert ages(found) == [(5, 30, (0, 0, 3, 0)), (6, 10, (0, 1, 0))]


def test_lone_returns_do_not_all_fall_to_the_largest_month_of_sale(shop: Shop) -> None:
    # Sixty units and forty: of five single returns two belong to the smaller month of sale.
    made.sold(shop.batch, m2026_03=40, m2026_04=60)
    for month in (5, 6, 7, 8, 9):
        came(shop, month)
    (_march, _sold, old), (_april, _more, young) = ages(cohorts(Scope(), as_of=SEPTEMBER))
    assert (sum(old), sum(young)) == (2, 3)


def test_units_of_the_month_of_sale_were_out_for_half_of_it(shop: Shop) -> None:
    made.sold(shop.batch, m2026_05=20, m2026_06=40)
    came(shop, 6, 4)
    assert ages(cohorts(Scope(), as_of=SEPTEMBER)) == [(5, 20, (2, 0, 0, 0)), (6, 40, (2, 0, 0))]


def test_no_unit_returns_twice_and_the_rest_is_counted_apart(shop: Shop) -> None:
    made.sold(shop.batch, m2026_05=2)
    came(shop, 7, 3)
    found = cohorts(Scope(), as_of=SEPTEMBER)
    assert (found.returned, found.unmatched) == (2, 1)


def test_a_return_before_any_sale_fits_none(shop: Shop) -> None:
    made.sold(shop.batch, m2026_08=10)
    came(shop, 7)
    assert cohorts(Scope(), as_of=SEPTEMBER).unmatched == 1


def test_a_known_batch_is_laid_on_its_own_sales_only(shop: Shop) -> None:
    other = ProductionBatch.objects.create(
        code="AV-2602",
        colourway=shop.avocet_slate,
        made_on=date(2026, 2, 1),
        pieces=50,
        heat=[[2, 1_000_000]],
    )
    made.sold(shop.batch, m2026_05=10)
    made.sold(other, m2026_06=10)
    came(shop, 8, batch=other)
    assert ages(cohorts(Scope(), as_of=SEPTEMBER)) == [
        (5, 10, (0, 0, 0, 0)),
        (6, 10, (0, 1, 0)),
    ]
    came(shop, 9, batch=None)
    assert cohorts(Scope(), as_of=SEPTEMBER).returned == 2


def test_second_returns_and_what_is_not_yet_over_do_not_count(shop: Shop) -> None:
    made.sold(shop.batch, m2026_05=10, m2026_10=5)
    came(shop, 7, mends_before=1)
    came(shop, 10)
    found = cohorts(Scope(), as_of=SEPTEMBER)
    assert ages(found) == [(5, 10, (0, 0, 0, 0))]


def test_a_curve_needs_five_first_returns(shop: Shop) -> None:
    made.sold(shop.batch, m2026_05=40)
    came(shop, 6, 4)
    found = lifetimes(cohorts(Scope(), as_of=SEPTEMBER))
    assert found.missing is not None
    assert (found.missing.have, found.missing.need) == (4, 5)
    came(shop, 7)
    found = lifetimes(cohorts(Scope(), as_of=SEPTEMBER))
    assert found.missing is None
    # Product limit by hand: 36/40 after one month, 36/40 * 35/36 after two.
    assert [(p.span, p.at_risk, p.failed) for p in found.curve] == [(1.5, 40, 4), (2.5, 36, 1)]
    assert [p.survival for p in found.curve] == pytest.approx([0.9, 0.875])
    assert found.median_months is None
    assert found.fit is not None
    assert (found.fit.failures, found.fit.units) == (5, 40)
    low, high = found.fit.tenth_limits
    assert low < found.fit.tenth < high


@pytest.mark.parametrize(
    ("returned", "outside"), [((50, 48, 45, 43), ()), ((200, 0, 0, 0, 0, 0, 0, 0, 200), (1.5,))]
)
def test_ages_at_which_the_fit_leaves_the_curve_are_named(
    returned: tuple[int, ...], outside: tuple[float, ...]
) -> None:
    """A steady hazard is a Weibull with shape 1; two bursts far apart are no Weibull at all."""
    january = 2026 * 12
    sold = SoldCohort(january, 2000, returned)
    as_of = by_index(january + len(returned))
    found = lifetimes(Cohorts(as_of=as_of, cohorts=(sold,), unmatched=0))
    assert found.fit is not None
    assert found.fit_outside == outside


def test_half_back_gives_a_median(shop: Shop) -> None:
    made.sold(shop.batch, m2026_05=10)
    came(shop, 7, 3)
    came(shop, 8, 2)
    found = lifetimes(cohorts(Scope(), as_of=SEPTEMBER))
    assert found.median_months == 3.5
    low, high = found.median_limits
    assert low is not None
    assert low <= 3.5
    assert high is None
    assert "after 3.5 months (range from" in lifetime_tables.answer(found, 10)
    assert "No sale" in lifetime_tables.answer(found, 0)


def test_a_forecast_needs_five_returns_and_is_the_same_again(shop: Shop) -> None:
    made.sold(shop.batch, m2026_03=60, m2026_05=40)
    came(shop, 6, 4)
    thin = forecast(cohorts(Scope(), as_of=SEPTEMBER))
    assert thin.made is None
    assert thin.missing is not None
    came(shop, 8, 6)
    found = cohorts(Scope(), as_of=SEPTEMBER)
    first, again = forecast(found), forecast(found)
    assert first == again
    assert first.made is not None
    assert len(first.made.months) == 12
    assert all(m.low <= m.expected <= m.high for m in first.made.months)
    assert first.made.total.expected <= 100 - 10


def test_cohorts_take_two_questions(shop: Shop, django_assert_num_queries: Any) -> None:
    made.sold(shop.batch, m2026_03=60, m2026_05=40)
    came(shop, 6, 4)
    with django_assert_num_queries(2):
        cohorts(Scope(shop.avocet), as_of=SEPTEMBER)


def test_returns_nearly_all_of_one_age_have_a_curve_and_no_fit() -> None:
    """Derived: 60 of 5000 by 1.5 months and one more by 30.5 ask for a shape of about
    ln(61 / 60) / ln(30.5 / 1.5) = 0.005, with a mean life beyond any figure."""
    ages = (60, *[0] * 28, 1, *[0] * 6)
    sold = SoldCohort(index(SEPTEMBER) - len(ages), 5000, ages)
    found = lifetimes(Cohorts(as_of=SEPTEMBER, cohorts=(sold,), unmatched=0))
    assert len(found.curve) == 2
    assert found.fit is None
    assert found.missing is not None
    assert "at one age" in shown.lacking(found.missing)


@pytest.mark.parametrize(("youngest", "left"), [(1, 36), (2, 28), (4, 15)])
def test_ladder_stands_although_nothing_was_sold_of_late(youngest: int, left: int) -> None:
    """Derived: cohorts of every age from `youngest` to 9, each with two returns in its first month
    and one in each after: up to age 9 a cohort of age a has 9 - a to come, without any spread."""
    now = index(SEPTEMBER)
    aged = [SoldCohort(now - age, 100, (2, *[1] * (age - 1))) for age in range(9, youngest - 1, -1)]
    found = outstanding(Cohorts(as_of=SEPTEMBER, cohorts=tuple(aged), unmatched=0))
    assert found.missing is None
    assert (found.first_age, found.last_age) == (youngest, 9)
    assert (found.total, found.total_standard_error) == (pytest.approx(left), pytest.approx(0))


def used(shop: Shop, month: int, pieces: int) -> ledger.Movement:
    at = datetime(2026, month, 12, 10, tzinfo=UTC)
    line = ledger.Line(places.bin_of(shop.screw), places.pieces(PlaceKind.WEARERS), pieces)
    return ledger.post(key=key(), kind="post_kit", lines=[line], happened_at=at)


def proposal(shop: Shop) -> Any:
    found = {one.code: one for one in part_proposals(as_of=SEPTEMBER)}
    return found[shop.screw.code]


def test_few_months_of_use_fall_back_on_the_reorder_level(shop: Shop) -> None:
    used(shop, 9, 85)
    found = proposal(shop)
    assert found.missing is not None
    assert (found.on_hand, found.order.target) == (15, 20)
    # Position 15, target 20, packs of 50.
    assert (found.order.packs, found.order.pieces) == (1, 50)


def test_use_of_six_months_gives_a_base_stock(shop: Shop) -> None:
    for month in range(4, 10):
        used(shop, month, 12)
    found = proposal(shop)
    assert found.missing is None
    # 72 in six months: the rate is at most 14.02 a month with 90 %, the 0.9 quantile of a gamma of
    # shape 73 over 6. Poisson with mean 14.02 * (14 + 7) / 30.4375 = 9.68 over the lead time and a
    # week to look: the smallest S with P(D <= S - 1) >= 0.95 is 16. Derived.
    assert found.base_stock == 16
    assert found.used_months == (12,) * 6


def test_lead_time_that_wants_more_than_any_shelf_holds_is_said_and_not_an_error(
    shop: Shop,
) -> None:
    for month in range(4, 10):
        used(shop, month, 12)
    shop.screw.lead_time_days = 400_000
    shop.screw.save()
    with translation.override("de"):
        found = proposal(shop)
        assert "mehr als 100000 Stück" in shown.lacking(found.missing)
    assert (found.base_stock, found.order.target) == (None, shop.screw.reorder_level)


def test_promised_pieces_and_reversed_use_are_taken_into_account(shop: Shop) -> None:
    movement = used(shop, 9, 85)
    ledger.reverse(key=key(), movement=movement, reason="not posted", at=NOON)
    stock.reserve(part=shop.screw, pieces=30, subject="Q-1", at=NOON)
    found = proposal(shop)
    assert (found.on_hand, found.reserved, found.order.position) == (100, 30, 70)


def test_parts_take_a_fixed_number_of_questions(shop: Shop, django_assert_num_queries: Any) -> None:
    used(shop, 9, 5)
    # Use, its first month, balances, promises, parts.
    with django_assert_num_queries(5):
        assert len(part_proposals(as_of=SEPTEMBER)) == 3
