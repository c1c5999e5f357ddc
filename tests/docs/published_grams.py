"""Checks of the ledger room: weighing, blending, heat, worth, reconciliation."""

from __future__ import annotations

import math
from collections.abc import Iterator

from inventory.material.sums import heat, melt_flow, mixing
from inventory.months.sums import valuation
from inventory.weighing.sums import reconciliation, weighing
from tests.docs.sources import CONSTRUCTED, DERIVED, MEMORY, READ, SECOND_HAND, Row, listed
from tests.reference import (
    test_blending_published,
    test_heat_published,
    test_reconciliation_published,
    test_weighing_published,
)


def _weighing() -> Iterator[Row]:
    scale = weighing.Scale(
        key="plate",
        resolution_d_mg=1000,
        verification_e_mg=1000,
        accuracy_class="III",
        capacity_mg=10**8,
        minimum_mg=0,
        in_service=False,
    )
    errors = (weighing.maximum_permissible_error_mg(scale, m) / 1000 for m in (500_000, 501_000))
    law = "UK SI 1995/1907, Schedule 2 (Directive 2014/31/EU)"
    yield Row(
        "error limit, class III, 500 and 501 e", law, "0.5, 1.0 g", f"{listed(errors)} g", DERIVED
    )
    parts = [0.17, 0.2 / math.sqrt(3), 0.05 / math.sqrt(3)]
    measured = weighing.combine([(1, weighing.Measured(0, u)) for u in parts])
    tartu = "University of Tartu, GUM examples, weighing.smu"
    ours = f"{measured.u_mg / 1000:.9f} g"
    yield Row("tared weighing: u", tartu, "0.000207525 g", ours, READ)
    budget = [25, 5.8, 3.9, 6.7, 1.7, 5.8, 10.2, 2.9, 16.6]
    gauge = weighing.combine([(1, weighing.Measured(0, u)) for u in budget]).u_mg
    yield Row("end gauge budget", "NIST TN 1297, D.2 (GUM H.1)", "34 nm", f"{gauge:.1f} nm", READ)
    stated = "NIST Reference on Constants, Units, Uncertainty"
    wide = weighing.expanded(0.35, 2)
    yield Row("expanded uncertainty, k = 2", stated, "0.70 mg", f"{wide:.2f} mg", READ)
    width = 14e-6 * 0.928571e6 + 2e-6 * 1e6
    volts = weighing.combine(
        [(1, weighing.Measured(0, 12.0)), (1, weighing.Measured(0, width / math.sqrt(3)))]
    ).u_mg
    yield Row("voltmeter: u", "GUM 4.3.7 example 2, 5.1.5", "15 µV", f"{volts:.1f} µV", MEMORY)
    one = weighing.total([weighing.Measured(0, 0.0, (("standard", 0.1),))] * 10).u_mg
    yield Row("ten parts against one standard", "GUM 5.2.2", "1 Ω", f"{one:.2f} Ω", MEMORY)
    yield from _certified()
    step = weighing.step_uncertainty_mg(scale) / 1000
    yield Row("digital step d: u", "GUM F.2.2.1", "0.29 d", f"{step:.4f} d", MEMORY)


def _certified() -> Iterator[Row]:
    """The shop's own budget of a reading, on an analyst's balance with a certificate."""
    found = weighing.budget(test_weighing_published.analysts_balance(), 12_483_500)
    source = "EURAMET cg-18 by masscor, test-uncertainties.R"
    certified, own = f"{found.common_mg / 1e6:.9f} g", f"{found.own_mg**2 / 1e12:.6e} g²"
    yield Row("certified error: u", source, "0.000100249 g", certified, SECOND_HAND)
    yield Row("step, repeats, pan: u²", source, "2.891329e-9 g²", own, SECOND_HAND)
    whole = f"{math.hypot(found.common_mg, found.own_mg) / 1e6:.10f} g"
    yield Row("corrected reading: u", source, "0.0001137598 g", whole, SECOND_HAND)
    # With one zero for both weighings, as the row is printed; the shop zeroes before each.
    net = math.sqrt(test_weighing_published.gross_less_tare().variance_mg2 - 10**2 / 6)
    yield Row("gross less tare: u", "GUM 5.2.2", "13.6460 mg", f"{net:.4f} mg", DERIVED)


def _material() -> Iterator[Row]:
    blended = melt_flow.blend_melt_flow(
        [(melt_flow.MeltFlow(1.0), 50), (melt_flow.MeltFlow(2.0), 50)]
    )
    log_rule = "pointsales.ca, crediting Nielsen, Polymer Rheology (1977)"
    yield Row("melt flow 1 and 2, half each", log_rule, "1.4145", f"{blended.rate:.4f}", READ)
    feed = mixing.Problem(
        costs=(10.0, 30.5, 90.0),
        ceilings=(None, None, None),
        rows=(
            mixing.Row("calcium", (0.38, 0.001, 0.002), 0.008, 0.012),
            mixing.Row("protein", (0.0, 0.09, 0.50), low=0.22),
            mixing.Row("fibre", (0.0, 0.02, 0.08), high=0.05),
        ),
    )
    shares = mixing.cheapest(feed) or ()
    manning = "Optimization Algorithms (Manning), 2.1.4"
    ours = f"{listed(shares, '{:.4f}')}; {_cost(feed, shares) / 100:.4f} $/kg"
    yield Row("cheapest feed", manning, "0.03, 0.65, 0.32; 0.4916 $/kg", ours, READ)
    cat = test_blending_published._cat_food(6)
    best = mixing.cheapest(cat) or ()
    ours = f"{listed(best, '{:.0f}')} g; {_cost(cat, best):.2f} $"
    yield Row(
        "cat food, six ingredients",
        "PuLP documentation",
        "0, 60, 0, 0, 0, 40 g; 0.52 $",
        ours,
        MEMORY,
    )
    cat = test_blending_published._cat_food(2)
    best = mixing.cheapest(cat) or ()
    ours = f"{listed(best, '{:.2f}')} g; {_cost(cat, best):.4f} $"
    printed = "33.33, 66.67 g; 0.9667 $"
    yield Row("cat food, two ingredients", "PuLP documentation", printed, ours, MEMORY)
    settled = test_heat_published.settled
    uses = listed((settled(r).mean_passes for r in (0.704, 0.717)), "{:.2f}")
    paper = "European paper recycling reports 2011, 2012 (what is fed back our reading)"
    yield Row("mean passes in a closed loop", paper, "3.4, 3.5", uses, READ)
    lags = listed((settled(r).mean_passes - 1 for r in (0.2954, 0.4106)), "{:.4f}")
    koyck = "Gujarati & Porter, Basic Econometrics, Koyck lag"
    what = "mean lag where 0.2954, 0.4106 is fed back"
    yield Row(what, koyck, "0.4192, 0.6966", lags, MEMORY)
    mixed = heat.blend([(heat.of_passes(0), 75_000), (heat.of_passes(1), 25_000)])
    doses = (9 * ppm / 1e6 for _, ppm in mixed.shares)
    yield Row(
        "additive dosed, and in the regrind",
        "OPC 40082-4, 13.2",
        "6.75, 2.25 %",
        f"{listed(doses)} %",
        READ,
    )


def _cost(problem: mixing.Problem, amounts: tuple[float, ...]) -> float:
    return sum(c * a for c, a in zip(problem.costs, amounts, strict=True))


def _books() -> Iterator[Row]:
    lots = [(10, 850), (20, 840), (10, 900), (20, 880), (10, 910)]
    receipts = tuple(valuation.Holding(units, units * price) for units, price in lots)
    opening = valuation.Holding(10, 8000)
    month = valuation.value_month(
        valuation.MonthMovements(opening=opening, receipts=receipts, issued_mg=60)
    )
    book = "Edwards & Hermanson, Accounting Principles (Global Text), exhibits 53 to 55"
    ours = f"{month.closing.cost_minor / 100:.2f}; {month.issued.cost_minor / 100:.2f}"
    yield Row("weighted average: left, sold", book, "172.50; 517.50", ours, READ)
    yield _perpetual()
    written = valuation.lower_of_cost_and_nrv(
        30 * 86,
        valuation.net_realisable_value_minor(
            30_000_000,
            price_minor_per_kg=95,
            to_complete_minor_per_kg=10,
            to_sell_minor_per_kg=5,
        ),
    )
    ours = f"{written.carrying_minor / 100:.2f}; {written.written_down_minor / 100:.2f}"
    yield Row("flake worth less than its cost", "our own vector", "24.00; 1.80", ours, CONSTRUCTED)
    flows = reconciliation.reconcile(
        test_reconciliation_published.EXCHANGER, test_reconciliation_published.NODES
    )
    adjusted = listed((s.adjusted for s in flows.streams), "{:.2f}")
    bench = "dr-ged-benchmarks, after Narasimhan & Jordache (2000)"
    printed = "100.22, 64.50, 35.72, 64.50, 35.72, 100.22"
    yield Row("exchanger with bypass: six flows", bench, printed, adjusted, READ)
    yield Row("the same: global test", bench, "not printed", f"{flows.gamma:.4f}", DERIVED)
    split = reconciliation.reconcile(test_reconciliation_published.SPLITTER, ["bin"])
    adjusted = listed((s.adjusted for s in split.streams), "{:.2f}")
    rao = "the same set, problem P1 (Rao & Narasimhan 1996)"
    yield Row("splitter that does not close", rao, "8.38, 5.06, 3.32", adjusted, READ)


def _perpetual() -> Row:
    sold = valuation.value_month(
        valuation.MonthMovements(
            opening=valuation.Holding(18, 18 * 1400),
            receipts=(valuation.Holding(33, 33 * 2100),),
            issued_mg=28,
        )
    )
    after = valuation.value_month(
        valuation.MonthMovements(opening=sold.closing, receipts=(valuation.Holding(28, 28 * 2500),))
    )
    ours = f"{sold.issued.cost_minor / 100:.2f}, {after.closing.cost_minor / 100:.2f}"
    page = "an answer page that cut the average short (does not add up; not reproduced)"
    return Row("perpetual average: sold, left of 1645.00", page, "518.56, 1125.96", ours, READ)


PARTS = (_weighing, _material, _books)
