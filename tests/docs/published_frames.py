"""Checks of the people-and-frames room: circularity, lifetimes, forecasts, spares, threads."""

from __future__ import annotations

import math
from collections.abc import Iterator
from statistics import fmean

from returns.auditing import sums as sampling
from returns.figures.circularity.sums import circularity, run_chart
from returns.figures.design import sums as hazards
from returns.figures.emissions import sums as emissions
from returns.figures.forecast.sums import run_off, spares
from returns.figures.lifetimes.sums import lifetimes
from returns.figures.lifetimes.sums.weibull import weibull_fit
from returns.figures.repairability import sums as repairability
from returns.figures.whatif import sums as queues
from returns.mending import sums as threads
from returns.salvage.sums import matching as salvage
from tests.docs.sources import CONSTRUCTED, DERIVED, MEMORY, READ, SECOND_HAND, Row, listed
from tests.reference import (
    test_forecasts_published,
    test_hazards_published,
    test_lifetimes_published,
    test_queues_published,
    test_run_chart_published,
    test_sampling_published,
)


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
    yield Row(what, method, "0.1, 1, 0.55, 0.9", listed(limits, "{:.4g}"), SECOND_HAND)
    wrong = (
        indicator(recycled_in=0.3, recycled_out=0.5),
        indicator(1.5, recycled_in=0.6, recycled_out=0.8),
    )
    pages = "public pages with a wrong denominator (not reproduced)"
    ours = listed(wrong, "{:.3g}")
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
    depths = listed(repairability.disassembly_depth_score(n) for n in (2, 5, 10, 15, 16))
    what = "score of 2, 5, 10, 15, 16 steps to a part"
    yield Row(what, "(EU) 2023/1669, Annex IV", "5, 4, 3, 2, 1", depths, SECOND_HAND)
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
    ours = listed(saved, "{:.4f}")
    what = "primary less closed loop, 2023, 2025, kg CO₂e/t"
    yield Row(what, "the same, differences worked out", "553.4319, 1265", ours, DERIVED)


def _lifetimes() -> Iterator[Row]:
    data = test_lifetimes_published
    curve = lifetimes.survival_curve(data.exposures(data.TREATED_FAILED, data.TREATED_STILL_IN))
    ours = listed((p.survival for p in curve[:3]), "{:.3f}")
    freireich = "Freireich 1963, R survfit output"
    yield Row("survival at weeks 6, 7, 10", freireich, "0.857, 0.807, 0.753", ours, READ)
    limits = listed(curve[0].loglog_limits, "{:.4f}")
    curve = lifetimes.survival_curve(data.exposures(data.PLACEBO))
    ours = listed((p.survival for p in curve[:3]), "{:.4f}")
    printed = "0.9048, 0.8095, 0.7619"
    yield Row("the same, placebo, weeks 1, 2, 3", "the same", printed, ours, READ)
    stata = "Freireich 1963, Stata sts list output"
    yield Row("the first, log-log limits at week 6", stata, "0.6197, 0.9516", limits, MEMORY)
    failed = (54, 187, 216, 240, 244, 335, 361, 373, 375, 386)
    fit = weibull_fit([*data.exposures(failed), lifetimes.Exposure(500, units=10)])
    nist = "NIST/SEMATECH e-Handbook, 8.4.1.3"
    ours = f"{fit.scale:.4f}, {fit.shape:.4f}"
    yield Row("Weibull scale, shape; 10 of 20 failed", nist, "606.5280, 1.7208", ours, READ)
    ours = f"{fit.mean:.3f}, {fit.log_likelihood:.3f}"
    yield Row("the same: mean, log-likelihood", nist, "540.737, -75.135", ours, READ)
    fit = weibull_fit(data.exposures(data.SHOCK_FAILED, data.SHOCK_STILL_IN))
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
    balls = weibull_fit(data.exposures((*data.BEARINGS, 48.48)))
    ours = f"{balls.scale:.2f}, {balls.shape:.3f}"
    lieblein = "Lieblein & Zelen (1956), the book's fit"
    yield Row("ball bearings: scale, shape", lieblein, "81.88, 2.102", ours, MEMORY)
    cohorts = [
        lifetimes.AgedCohort(100, (1, 2, 2)),
        lifetimes.AgedCohort(100, (2, 3)),
        lifetimes.AgedCohort(100, (1,)),
    ]
    shares = listed((h.failed_by for h in lifetimes.age_hazards(cohorts)), "{:.4f}")
    tubes = "Meeker & Escobar, chapter 3, heat-exchanger tubes"
    yield Row("failed by age 1, 2, 3", tubes, "0.0133, 0.0384, 0.0582", shares, MEMORY)


def _hazards() -> Iterator[Row]:
    data = test_hazards_published
    drug, kept = data.rows(data.PLACEBO, data.DRUG), data.rows(data.LEFT, data.KEPT)
    trial = "Freireich (1963), data and tests of lifelines"
    square = f"{data.chi_square(hazards.log_rank(drug)):.1f}"
    yield Row("leukaemia trial: log-rank", trial, "16.8", square, READ)
    ratio = hazards.hazard_ratio(drug)
    ours = f"{ratio.ratio:.3f}" if ratio else ""
    yield Row("the same: hazard ratio, Breslow", "Cox (1972)", "4.523", ours, MEMORY)
    miller = "Miller (1981), tests of the R package survival"
    found = hazards.log_rank(data.rows(data.KEPT, data.LEFT))
    ours = f"{found.expected:.2f}, {data.chi_square(found):.1f}"
    yield Row("kept treatment: expected, log-rank", miller, "10.69, 3.4", ours, READ)
    other = hazards.hazard_ratio(kept)
    ours = f"{other.log_ratio:.4f}, {other.standard_error:.4f}" if other else ""
    yield Row("the same: log ratio, error, Breslow", miller, "0.9042, 0.5122", ours, READ)
    ties = data.rows(data.parsed("10 20 30"), data.parsed("10 20 50"))
    ours = f"{data.chi_square(hazards.log_rank(ties)):.4f}"
    yield Row("ties: log-rank", "tests of lifelines", "0.2542", ours, READ)


def _queues() -> Iterator[Row]:
    by_hand = queues.waits([queues.Job(0, 10), queues.Job(2, 5)], 1)
    yield Row("two jobs, one hand: waits", "by hand", "0, 8", listed(by_hand, "{:.0f}"), DERIVED)
    bronson = fmean(test_queues_published.mean_waits(2.0, test_queues_published.exponential(1.5)))
    source = "Bronson, Operations Research (Schaum), 23.14"
    yield Row("30 an hour, 1.5 min: wait", source, "4.5 min", f"{bronson:.1f} min", SECOND_HAND)
    trucks = fmean(test_queues_published.mean_waits(7.5, test_queues_published.constant(5.0)))
    render = "Heizer & Render, Operations Management, module D"
    yield Row("8 an hour, 5 min each: wait", render, "5 min", f"{trucks:.1f} min", MEMORY)


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
    ours = listed(developed.factors[:3], "{:.4f}")
    yield Row("chain ladder: first factors", mack, "3.4906, 1.7473, 1.4574", ours, READ)
    lags = test_forecasts_published.returns_of([2000] * 5, (0.4, 0.3, 0.2), months=5)
    step = "Gujarati, Basic Econometrics, example 17.1"
    yield Row(
        "lagged response to a step of 2000",
        step,
        "800, 1400, 1800",
        listed(lags[:3], "{:.0f}"),
        READ,
    )
    met = (spares.ready_rate(spares.Demand(mean=1), stock) for stock in (1, 2, 3))
    ours = listed(met, "{:.4f}")
    what = "met from a stock of 1, 2, 3, demand of mean 1"
    yield Row(what, "Poisson distribution", "0.3679, 0.7358, 0.9197", ours, DERIVED)
    costs_matrix = [[90, 76, 75, 70], [35, 85, 55, 65], [125, 95, 90, 105], [45, 110, 95, 115]]
    found = salvage.assign(costs_matrix)
    cost = sum(costs_matrix[i][c] for i, c in enumerate(found) if c is not None)
    guide = "OR-Tools guide, Linear Sum Assignment Solver"
    yield Row("assignment: optimum", guide, "265", str(cost), MEMORY)
    matrix = [[4, 1, 3], [2, 0, 5], [3, 2, 2]]
    cost = sum(matrix[i][c] for i, c in enumerate(salvage.assign(matrix)) if c is not None)
    yield Row("the same", "SciPy, linear_sum_assignment", "5", str(cost), MEMORY)


def _runs() -> Iterator[Row]:
    made = run_chart.run_chart(test_run_chart_published.FLOW_RATE)
    ours = f"{made.low:.4f}, {made.mean:.2f}, {made.high:.4f}"
    book = "NIST/SEMATECH e-Handbook, 6.3.2.2, flow rate"
    yield Row(
        "individuals chart: lower, mean, upper", book, "45.8159, 50.81, 55.8041", ours, MEMORY
    )


def _bench() -> Iterator[Row]:
    letters = listed(sampling.code_letter(lot) for lot in (40, 500, 1200))
    pages = "ISO 2859-1 Table 1, as public pages print it"
    yield Row("code letters for lots 40, 500, 1200", pages, "D, H, J", letters, READ)
    found = sampling.plan(lot=3200, aql="6.5")
    ours = f"{found.sample}, {found.accept}"
    yield Row("plan for lot 3200 at 6.5", "the same pages", "125, 14", ours, READ)
    manual = "R package Planesmuestra, manual"
    chance = _accepted(sample=65, bad_share=0.012)
    yield Row("chance of acceptance, n 65, c 2, 1.2 %", manual, "0.9564398", f"{chance:.7f}", READ)
    ours = f"{_accepted(sample=125, bad_share=0.1):.9f}"
    yield Row("chance of acceptance, n 125, c 2, 10 %", manual, "0.000210835", ours, READ)
    sizes = listed((t.diameter_mm for t in threads.THREADS), "{}")
    iso = "ISO 11381:2016, contents as a standards shop lists them"
    yield Row("screw sizes, mm", iso, "0.8, 1.0, 1.2, 1.4, 1.6, 2.0", sizes, READ)


def _accepted(*, sample: int, bad_share: float) -> float:
    """The chance to accept with at most 2 bad a lot so large that it is as good as a process."""
    lot = test_sampling_published.LOT_OF_A_PROCESS
    plan = sampling.Plan(sample=sample, accept=2)
    return sampling.acceptance_chance_in_lot(plan, lot=lot, bad=round(lot * bad_share))


PARTS = (_circularity, _lifetimes, _hazards, _queues, _forecasts, _runs, _bench)
