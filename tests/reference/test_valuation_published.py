"""Valuation held against printed examples; each check names its source and tag.

The examples count pieces; they stand here as milligrams, for the sums do not care.
"""

from __future__ import annotations

from inventory.months.sums.valuation import (
    Holding,
    MonthMovements,
    lower_of_cost_and_nrv,
    net_realisable_value_minor,
    value_month,
)


def test_periodic_weighted_average() -> None:
    """Read: Edwards & Hermanson, Accounting Principles: A Business Perspective (Global Text, CC BY
    3.0), exhibits 53 to 55: 80 units for 690.00, 60 sold; unit cost 8.625.

    Computed from it: 172.50 in stock and 517.50 sold, exact.
    """
    lots = [(10, 850), (20, 840), (10, 900), (20, 880), (10, 910)]
    month = value_month(
        MonthMovements(
            opening=Holding(10, 10 * 800),
            receipts=tuple(Holding(units, units * price) for units, price in lots),
            issued_mg=60,
        )
    )
    assert month.received.cost_minor + month.opening.cost_minor == 69_000
    assert month.closing == Holding(20, 17_250)
    assert month.issued == Holding(60, 51_750)


def test_printed_perpetual_average_loses_half_a_unit_and_ours_does_not() -> None:
    """Read, a printed answer that does not reproduce: answer page maxshrtlnk.blogspot.com (June
    2021), perpetual average: 18 at 14, 33 at 21, sell 28, buy 28 at 25.

    It prints 518.56 sold and 1125.96 left, 1644.52 of goods that cost 1645.00, because it cut the
    average 18.5294 to 18.52. Exact: 518.823529 and 1126.176471.
    """
    sale = value_month(
        MonthMovements(
            opening=Holding(18, 18 * 1400), receipts=(Holding(33, 33 * 2100),), issued_mg=28
        )
    )
    after = value_month(MonthMovements(opening=sale.closing, receipts=(Holding(28, 28 * 2500),)))
    assert sale.issued.cost_minor == 51_882
    assert after.closing == Holding(51, 112_618)
    assert sale.issued.cost_minor + after.closing.cost_minor == 164_500
    printed = (51_856, 112_596)
    assert sum(printed) != 164_500
    assert printed != (sale.issued.cost_minor, after.closing.cost_minor)


def test_flake_worth_less_than_it_cost() -> None:
    """Constructed, not published: 30 kg at 0.86; price 0.95, to complete 0.10, to sell 0.05."""
    nrv_minor = net_realisable_value_minor(
        30_000_000, price_minor_per_kg=95, to_complete_minor_per_kg=10, to_sell_minor_per_kg=5
    )
    step = lower_of_cost_and_nrv(30 * 86, nrv_minor)
    assert nrv_minor == step.carrying_minor == 2_400
    assert step.written_down_minor == 180
