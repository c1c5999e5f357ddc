"""The README's table of checks against sources: theirs as written down, ours by running it.

    python -m tests.docs.published

prints the table; a test holds the README to it. The assertions themselves, with tolerances and
the editions of the sources, are in tests/reference.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from decimal import Decimal

from inventory.sums import heat, melt_flow, mixing, reconciliation, valuation, weighing
from returns.sums import (
    circularity,
    emissions,
    forecasts,
    lifetimes,
    repairability,
    run_off,
    salvage,
    sampling,
    spares,
    threads,
)
from tests.reference import (
    test_blending_published,
    test_forecasts_published,
    test_lifetimes_published,
    test_reconciliation_published,
)

READ, MEMORY, SECOND_HAND = "read", "from memory", "second-hand"
DERIVED, CONSTRUCTED = "derived", "constructed"


@dataclass(frozen=True, slots=True)
class Row:
    """One figure of one source. `tag` says how we know theirs."""

    what: str
    source: str
    theirs: str
    ours: str
    tag: str

    def line(self) -> str:
        return f"| {self.what} | {self.source} | {self.theirs} | {self.ours} | {self.tag} |"


def rows() -> list[Row]:
    """Every row, in the order of the README."""
    return [row for part in PARTS for row in part()]


def table() -> str:
    head = ["| what | source | theirs | ours | tag |", "|---|---|---|---|---|"]
    return "\n".join([*head, *(row.line() for row in rows())])


def _list(values: object, form: str = "{}") -> str:
    return ", ".join(form.format(value) for value in values)  # type: ignore[attr-defined]


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
        "error limit, class III, 500 and 501 e", law, "0.5, 1.0 g", f"{_list(errors)} g", DERIVED
    )
    parts = [(0.17, 15.0), (0.2 / math.sqrt(3), math.inf), (0.05 / math.sqrt(3), math.inf)]
    measured = weighing.combine([(1, weighing.Measured(0, u)) for u, _ in parts])
    freedom = int(weighing.welch_satterthwaite(parts))
    yield Row(
        "tared weighing: u, degrees of freedom",
        "University of Tartu, GUM examples, weighing.smu",
        "0.000207525 g, 33",
        f"{measured.u_mg / 1000:.9f} g, {freedom}",
        READ,
    )
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
    less = weighing.combine([(1, weighing.Measured(0, 0.15 / math.sqrt(3)))] * 2).u_mg
    guide = "EURACHEM/CITAC Guide, example A2"
    yield Row("gross less tare: u", guide, "0.13 mg", f"{less:.3f} mg", MEMORY)
    step = weighing.step_uncertainty_mg(scale) / 1000
    yield Row("digital step d: u", "axiospec.com calculator", "0.29 d", f"{step:.4f} d", READ)


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
    ours = f"{_list(shares, '{:.4f}')}; {_cost(feed, shares) / 100:.4f} $/kg"
    yield Row("cheapest feed", manning, "0.03, 0.65, 0.32; 0.4916 $/kg", ours, READ)
    cat = test_blending_published._cat_food(6)
    best = mixing.cheapest(cat) or ()
    ours = f"{_list(best, '{:.0f}')} g; {_cost(cat, best):.2f} $"
    yield Row(
        "cat food, six ingredients",
        "PuLP documentation",
        "0, 60, 0, 0, 0, 40 g; 0.52 $",
        ours,
        MEMORY,
    )
    cat = test_blending_published._cat_food(2)
    best = mixing.cheapest(cat) or ()
    ours = f"{_list(best, '{:.2f}')} g; {_cost(cat, best):.4f} $"
    printed = "33.33, 66.67 g; 0.9667 $"
    yield Row("cat food, two ingredients", "PuLP documentation", printed, ours, MEMORY)
    uses = _list((heat.steady_mean_passes(r) for r in (0.704, 0.717)), "{:.2f}")
    paper = "European paper recycling reports 2011, 2012 (formula our reading)"
    yield Row("mean passes in a closed loop", paper, "3.4, 3.5", uses, READ)
    lag = heat.steady_median_extra_passes(0.2954), heat.steady_mean_passes(0.2954) - 1
    koyck = "Gujarati & Porter, Basic Econometrics, Koyck lag"
    yield Row(
        "median and mean lag at 0.2954", koyck, "0.5684, 0.4192", _list(lag, "{:.4f}"), MEMORY
    )
    lag = heat.steady_median_extra_passes(0.4106), heat.steady_mean_passes(0.4106) - 1
    yield Row("the same at 0.4106", "the same", "0.7786, 0.6966", _list(lag, "{:.4f}"), MEMORY)
    mixed = heat.blend([(heat.fresh(), 75_000), (heat.of_passes(1), 25_000)])
    doses = (9 * ppm / 1e6 for _, ppm in mixed.shares)
    yield Row(
        "additive dosed, and in the regrind",
        "OPC 40082-4, 13.2",
        "6.75, 2.25 %",
        f"{_list(doses)} %",
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
    average = float(month.average_minor_per_mg or 0) / 100
    ours = f"{average}; {month.closing.cost_minor / 100:.2f}; {month.issued.cost_minor / 100:.2f}"
    yield Row("weighted average: unit, left, sold", book, "8.625; 172.50; 517.50", ours, READ)
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
    adjusted = _list((s.adjusted for s in flows.streams), "{:.2f}")
    bench = "dr-ged-benchmarks, after Narasimhan & Jordache (2000)"
    printed = "100.22, 64.50, 35.72, 64.50, 35.72, 100.22"
    yield Row("exchanger with bypass: six flows", bench, printed, adjusted, READ)
    yield Row("the same: global test", bench, "not printed", f"{flows.gamma:.4f}", DERIVED)
    ends = {"1": ("in", "bin"), "2": ("bin", "out"), "3": ("bin", "out")}
    masses = {"1": 9.22, "2": 4.83, "3": 3.22}
    split = reconciliation.reconcile(
        [reconciliation.Stream(n, *ends[n], m, (0.03 * m) ** 2) for n, m in masses.items()],
        ["bin"],
    )
    adjusted = _list((s.adjusted for s in split.streams), "{:.2f}")
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


def _circularity() -> Iterator[Row]:
    def indicator(utility_ratio: float = 1.0, **fields: float) -> float:
        part = circularity.Component(mass_mg=1_000, **fields)  # type: ignore[arg-type]
        return circularity.material_circularity([part], utility_ratio=utility_ratio).indicator

    method = "Circularity Indicators: Methodology (2015), limit cases"
    limits = (
        indicator(),
        indicator(reused_in=1, reused_out=1),
        indicator(2),
        indicator(recycled_in=1, recycled_out=1, feedstock_yield=0.8, recycling_yield=0.8),
    )
    what = "circularity: linear, reused, double life, 0.8 yields"
    yield Row(what, method, "0.1, 1, 0.55, 0.9", _list(limits, "{:.4g}"), SECOND_HAND)
    wrong = (
        indicator(recycled_in=0.3, recycled_out=0.5),
        indicator(1.5, recycled_in=0.6, recycled_out=0.8),
    )
    pages = "public pages with a wrong denominator (not reproduced)"
    ours = _list(wrong, "{:.3g}")
    yield Row("circularity, two printed scores", pages, "0.52, 0.828", ours, READ)
    frame = indicator(recycled_in=1, recycled_out=0.6, recycling_yield=0.9, feedstock_yield=0.9)
    yield Row(
        "circularity of a 25 g frame", "our own vector", "0.784257", f"{frame:.6f}", CONSTRUCTED
    )
    score = circularity.counted_share(count=15, of=148)
    exact = circularity.counted_share(count=15, of=148, method="exact")
    limits = (score.low, score.high, exact.low, exact.high)
    newcombe = "Newcombe, Statistics in Medicine 17 (1998), Table I"
    printed = "0.0624, 0.1605; 0.0578, 0.1617"
    ours = "{:.4f}, {:.4f}; {:.4f}, {:.4f}".format(*limits)
    yield Row("15 of 148: score; exact interval", newcombe, printed, ours, MEMORY)
    index = repairability.published_index(
        dict(zip(repairability.INDEX_WEIGHTS, (4, 3, 5, 3, 3, 5), strict=True))
    )
    rule = "(EU) 2023/1669, Annex IV 5; scores our own"
    ours = f"{index} {repairability.published_class(index)}"
    yield Row(
        "repairability index and class", rule, "3.85 B", ours, f"{SECOND_HAND}, {CONSTRUCTED}"
    )
    kg = emissions.Activity(
        10_000_000, 2025, emissions.uk_factor("pp_material_closed_loop", year=2025)
    ).kg_co2e
    factors = "UK Government conversion factors 2025, from a table in a library"
    yield Row(
        "10 kg closed-loop polypropylene",
        factors,
        "13.1257172 kg CO₂e",
        f"{kg.normalize()} kg CO₂e",
        DERIVED,
    )

    saved = (
        emissions.uk_factor("pp_material_primary", year=year).kg_co2e_per_unit
        - emissions.uk_factor("pp_material_closed_loop", year=year).kg_co2e_per_unit
        for year in (2023, 2025)
    )
    ours = _list(saved, "{:.4f}")
    what = "primary less closed loop, 2023, 2025, kg CO₂e/t"
    yield Row(what, "the same, differences worked out", "553.4319, 1265", ours, DERIVED)


def _lifetimes() -> Iterator[Row]:
    data = test_lifetimes_published
    curve = lifetimes.survival_curve(data.exposures(data.TREATED_FAILED, data.TREATED_STILL_IN))
    ours = _list((p.survival for p in curve[:3]), "{:.3f}")
    freireich = "Freireich 1963, R survfit output"
    yield Row("survival at weeks 6, 7, 10", freireich, "0.857, 0.807, 0.753", ours, READ)
    curve = lifetimes.survival_curve(data.exposures(data.PLACEBO))
    ours = _list((p.survival for p in curve[:3]), "{:.4f}")
    printed = "0.9048, 0.8095, 0.7619"
    yield Row("the same, placebo, weeks 1, 2, 3", "the same", printed, ours, READ)
    failed = (54, 187, 216, 240, 244, 335, 361, 373, 375, 386)
    fit = lifetimes.weibull_fit([*data.exposures(failed), lifetimes.Exposure(500, units=10)])
    nist = "NIST/SEMATECH e-Handbook, 8.4.1.3"
    ours = f"{fit.scale:.4f}, {fit.shape:.4f}"
    yield Row("Weibull scale, shape; 10 of 20 failed", nist, "606.5280, 1.7208", ours, READ)
    fit = lifetimes.weibull_fit(data.exposures(data.SHOCK_FAILED, data.SHOCK_STILL_IN))
    shock = "Meeker & Escobar (1998), Table C.2, fit in public R packages"
    yield Row(
        "shock absorbers: mu, sigma",
        shock,
        "10.2298631, 0.3164092",
        f"{fit.mu:.7f}, {fit.sigma:.7f}",
        READ,
    )
    ours = f"{fit.scale:.0f}, {fit.shape:.2f}"
    yield Row("the same: scale, shape", "the book's table", "27719, 3.16", ours, MEMORY)
    balls = lifetimes.weibull_fit(data.exposures((*data.BEARINGS, 48.48)))
    ours = f"{balls.scale:.2f}, {balls.shape:.3f}"
    lieblein = "Lieblein & Zelen (1956), the book's fit"
    yield Row("ball bearings: scale, shape", lieblein, "81.88, 2.102", ours, MEMORY)
    cohorts = [
        lifetimes.AgedCohort(100, (1, 2, 2)),
        lifetimes.AgedCohort(100, (2, 3)),
        lifetimes.AgedCohort(100, (1,)),
    ]
    shares = _list((h.failed_by for h in lifetimes.age_hazards(cohorts)), "{:.4f}")
    tubes = "Meeker & Escobar, chapter 3, heat-exchanger tubes"
    yield Row("failed by age 1, 2, 3", tubes, "0.0133, 0.0384, 0.0582", shares, MEMORY)


def _forecasts() -> Iterator[Row]:
    triangle = test_forecasts_published.TRIANGLE
    developed = run_off.run_off(
        [[int(word) for word in row.split()] for row in triangle.split("\n") if row]
    )
    mack = "Taylor & Ashe (1983) in Mack, ASTIN Bulletin 23 (1993)"
    total = f"{math.fsum(developed.outstanding):,.0f}"
    yield Row("chain ladder: outstanding", mack, "18,680,856", total, READ)
    error = f"{developed.total_standard_error:,.0f}"
    yield Row("chain ladder: its standard error", mack, "2,447,095", error, READ)
    ours = _list(developed.factors[:3], "{:.4f}")
    yield Row("chain ladder: first factors", mack, "3.4906, 1.7473, 1.4574", ours, READ)
    lags = forecasts.lagged_returns([2000] * 5, (0.4, 0.3, 0.2), months=5)
    step = "Gujarati, Basic Econometrics, example 17.1"
    yield Row(
        "lagged response to a step of 2000",
        step,
        "800, 1400, 1800",
        _list(lags[:3], "{:.0f}"),
        READ,
    )
    best, costs = spares.newsvendor_of(
        (0.2, 0.4, 0.3, 0.1), short_cost_minor=4200, excess_cost_minor=800
    )
    stevenson = "Stevenson, Operations Management, 14th ed., Table 12.3"
    yield Row("spare part: how many, cost", stevenson, "2; 1060", f"{best}; {costs[2]:.0f}", READ)
    ratio = spares.critical_ratio(short_cost_minor=8, excess_cost_minor=4)
    quantity = spares.newsvendor_normal(mean=200, spread=80, ratio=ratio)
    cachon = "Cachon & Terwiesch, Q12.1 (rounds z up)"
    yield Row("order quantity", cachon, "235.2", f"{quantity:.3f}", READ)
    lost = spares.normal_shortfall(mean=1000, spread=300, quantity=1600)
    yield Row("expected shortfall", "Cachon & Terwiesch, normal loss", "2.55", f"{lost:.4f}", READ)
    costs_matrix = [[90, 76, 75, 70], [35, 85, 55, 65], [125, 95, 90, 105], [45, 110, 95, 115]]
    found = salvage.assign(costs_matrix)
    cost = sum(costs_matrix[i][c] for i, c in enumerate(found) if c is not None)
    guide = "OR-Tools guide, Linear Sum Assignment Solver"
    yield Row("assignment: optimum", guide, "265", str(cost), MEMORY)
    matrix = [[4, 1, 3], [2, 0, 5], [3, 2, 2]]
    cost = sum(matrix[i][c] for i, c in enumerate(salvage.assign(matrix)) if c is not None)
    yield Row("the same", "SciPy, linear_sum_assignment", "5", str(cost), MEMORY)


def _bench() -> Iterator[Row]:
    letters = _list(sampling.code_letter(lot) for lot in (40, 500, 1200))
    pages = "ISO 2859-1 Table 1, as public pages print it"
    yield Row("code letters for lots 40, 500, 1200", pages, "D, H, J", letters, READ)
    found = sampling.plan(lot=3200, aql="6.5")
    ours = f"{found.sample}, {found.accept}"
    yield Row("plan for lot 3200 at 6.5", "the same pages", "125, 14", ours, READ)
    chance = sampling.acceptance_chance(sampling.Plan(sample=65, accept=2), bad_share=0.012)
    manual = "R package Planesmuestra, manual"
    yield Row("chance of acceptance, n 65, c 2, 1.2 %", manual, "0.9564398", f"{chance:.7f}", READ)
    share = sampling.bad_share_at(sampling.Plan(sample=68, accept=2), chance=0.95)
    forum = "a public sampling-plan forum, 2006"
    yield Row("bad share accepted at 0.95, n 68, c 2", forum, "0.01213", f"{share:.5f}", READ)
    mean = sampling.poisson_mean_at(1, chance=0.10)
    ours = f"{mean:.2f}; {math.ceil(mean / 0.02)}"
    birolini = "Birolini, Reliability Engineering, 7.1.3"
    yield Row("Poisson mean at risk 0.10; n at 2 %", birolini, "3.9; 195", ours, READ)
    thread = threads.geometry(threads.named("M1.4x0.3"))
    ours = f"{thread.pitch_diameter_mm:.4f}, {thread.nut_minor_mm:.5f}, {thread.tap_drill_mm}"
    page = "a metric thread specification page"
    yield Row("M1.4: pitch, nut minor, drill, mm", page, "1.2051, 1.0753, 1.1", ours, READ)
    small = (threads.geometry(threads.named(n)) for n in ("M1x0.25", "M1.6x0.35", "M2x0.4"))
    ours = _list((g.pitch_diameter_mm for g in small), "{:.3f}")
    tables = "machinists' and tool makers' (UNI 4535) tables"
    yield Row("M1, M1.6, M2: pitch, mm", tables, "0.838, 1.373, 1.740", ours, READ)
    sizes = _list((t.diameter_mm for t in threads.THREADS), "{}")
    iso = "ISO 11381:2016, contents as a standards shop lists them"
    yield Row("screw sizes, mm", iso, "0.8, 1.0, 1.2, 1.4, 1.6, 2.0", sizes, READ)
    share = threads.engagement_percent(threads.named("M1x0.25"), Decimal("0.76"))
    table_ = "machinists' thread table (drill rounded)"
    yield Row("thread left by a 0.76 drill in M1", table_, "75 %", f"{share:.1f} %", READ)


PARTS: tuple[Callable[[], Iterator[Row]], ...] = (
    _weighing,
    _material,
    _books,
    _circularity,
    _lifetimes,
    _forecasts,
    _bench,
)

if __name__ == "__main__":
    print(table())
