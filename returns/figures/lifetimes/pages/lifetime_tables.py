"""Tables and pictures of how long frames stay out, and why they come back first."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from math import exp

from django.utils.translation import gettext as _

from inventory.furniture.numbers import fixed
from inventory.months.sums.calendar_month import Month
from returns import charts
from returns.figures.circularity.pages import shown
from returns.figures.circularity.pages.pictures import Picture, starts_at
from returns.figures.circularity.pages.tables import Cell, Table, count, tenths, words
from returns.figures.lifetimes.queries import cause_fits, lifetimes
from returns.figures.lifetimes.queries.lifetimes import Cause, Lifetimes
from returns.figures.span.queries import Scope
from returns.models.remedies import DefectKey

CAUSES_DRAWN = 5


def answer(lived: Lifetimes, sold: int) -> str:
    """Say when half of the frames had come back, with the range, or why nobody can say."""
    if not sold:
        return _(
            "No sale is known, so nothing can be said of how long frames last. "
            "Import the sold units first."
        )
    if lived.median_months is None:
        return _("More than half of the frames are still out, so there is no median yet.")
    low, high = (None if one is None else fixed(one, 1) for one in lived.median_limits)
    data = {"months": fixed(lived.median_months, 1), "low": low, "high": high}
    if high is None:
        return (
            _(
                "Half of the frames have come back after %(months)s months "
                "(range from %(low)s months; its end is not seen yet)."
            )
            % data
        )
    return (
        _(
            "Half of the frames have come back after %(months)s months "
            "(range %(low)s to %(high)s months)."
        )
        % data
    )


def still_out(lived: Lifetimes) -> Picture | None:
    """Draw the product-limit curve with its band, the fit over it, and the number at risk."""
    if not lived.curve:
        return None
    title = charts.Title(
        _("Frames still out"),
        _(
            "Share of frames that have not come back, by months since the sale, with its band, "
            "the Weibull fit, and how many frames are at risk at each age."
        ),
    )
    # The product-limit curve starts at the first failure; the drawing starts at age 0, where all
    # are out.
    points = [charts.Point(0, 1, 1, 1)]
    points += [charts.Point(p.span, p.survival, *p.loglog_limits) for p in lived.curve]
    right = lived.curve[-1].span
    drawn = charts.Lived(
        points=points,
        fit=charts.smooth(lived.fit.still_out, right) if lived.fit else [],
        at_risk=[(p.span, p.at_risk) for p in lived.curve],
        across=_("months since the sale"),
        starts=starts_at,
        at_risk_name=_("Frames at risk"),
        key=(_("still out"), _("95 % limits"), _("Weibull fit")),
    )
    picture = charts.for_screens(partial(charts.survival, title, drawn, _whole_percent))
    return Picture(_("Frames still out, by months since the sale"), curve(lived), picture)


def curve(lived: Lifetimes) -> Table:
    return Table(
        "curve",
        _("Frames still out, with 95 % limits"),
        ("months", "at_risk", "came_back", "still_out", "low", "high"),
        (
            _("Months"),
            _("At risk"),
            _("Came back"),
            _("Still out"),
            _("Lower limit"),
            _("Upper limit"),
        ),
        tuple(
            (
                tenths(p.span),
                count(p.at_risk),
                count(p.failed),
                *(Cell(v, shown.percent(v)) for v in (p.survival, *p.loglog_limits)),
            )
            for p in lived.curve
        ),
    )


def fit(lived: Lifetimes) -> list[tuple[str, str]]:
    made = lived.fit
    if made is None:
        return []
    return [
        (_("Shape"), f"{fixed(made.shape, 2)} ± {fixed(2 * made.shape_standard_error, 2)}"),
        (_("Scale, months"), f"{fixed(made.scale, 1)} ± {fixed(2 * made.scale_standard_error, 1)}"),
        (
            _("Mean until first return, months"),
            f"{fixed(made.mean, 1)} ({fixed(made.mean / made.mean_factor, 1)} – "
            f"{fixed(made.mean * made.mean_factor, 1)})",
        ),
        (
            _("A tenth is back after, months"),
            f"{fixed(made.tenth, 1)} ({fixed(made.tenth_limits[0], 1)} – "
            f"{fixed(made.tenth_limits[1], 1)})",
        ),
        (_("First returns of units"), f"{made.failures} / {made.units}"),
    ]


def cause_name(key: str) -> str:
    names = {**dict(DefectKey.choices), lifetimes.NOT_LOOKED_OVER: _("not looked over yet")}
    return str(names.get(key, key))


def causes(found: Sequence[Cause]) -> Table:
    """Cumulative incidence of each cause among the others, by the oldest age it was seen at."""
    return Table(
        "causes",
        _("Share of frames sold that came back for each cause, the others competing"),
        ("cause", "returns", "incidence", "expanded", "months"),
        (_("Cause"), _("First returns"), _("Share"), _("± (k = 2)"), _("By months")),
        tuple(
            (
                words(cause.key, cause_name(cause.key)),
                count(cause.returns),
                *(
                    Cell(share, shown.percent(share))
                    for share in (cause.latest.incidence, 2 * cause.latest.standard_error)
                ),
                tenths(cause.latest.span),
            )
            for cause in found
        ),
    )


def incidence(found: Sequence[Cause]) -> Table:
    """Return every step of every cause, for the download."""
    return Table(
        "incidence",
        _("Cumulative incidence by cause and age"),
        ("cause", "months", "incidence", "standard_error"),
        (_("Cause"), _("Months"), _("Share"), _("Standard error")),
        tuple(
            (
                words(cause.key, cause_name(cause.key)),
                tenths(point.span),
                Cell(point.incidence, shown.percent(point.incidence)),
                Cell(point.standard_error, shown.percent(point.standard_error)),
            )
            for cause in found
            for point in cause.curve
        ),
    )


def by_cause(found: Sequence[Cause]) -> list[Picture]:
    """First returns by cause, and how the commonest causes add up with age."""
    if not found:
        return []
    bars = charts.Title(
        _("First returns by cause"), _("A bar for each cause, the commonest first.")
    )
    lines = charts.Title(
        _("Came back for each cause"),
        _("Share of frames sold that came back, by months since the sale, a curve for each cause."),
    )
    names = [cause_name(cause.key) for cause in found]
    right = max(cause.latest.span for cause in found)
    drawn = [
        charts.Line(
            cause_name(cause.key),
            [
                (0, 0),
                *((p.span, p.incidence) for p in cause.curve),
                # Every curve is carried on to the last age of any cause, so that a rare one does
                # not end early.
                (right, cause.latest.incidence),
            ],
        )
        for cause in found[:CAUSES_DRAWN]
    ]
    counts = [cause.returns for cause in found]
    data = [str(number) for number in counts]
    across = _("months since the sale")
    return [
        Picture(
            _("First returns by cause"),
            causes(found),
            charts.for_screens(partial(charts.lying_bars, bars, names, counts, data)),
        ),
        Picture(
            _("Came back for each cause, by months since the sale"),
            incidence(found),
            charts.for_screens(partial(charts.curves, lines, drawn, shown.percent, across=across)),
        ),
    ]


def fits_by_cause(scope: Scope, as_of: Month) -> Table:
    """Show how each cause acts by itself: a shape below 1 means early failures, above 1 wear."""
    found = cause_fits.cause_fits(scope, as_of=as_of)
    rows = tuple(
        (
            words(one.cause, cause_name(one.cause)),
            count(one.returns),
            _estimate(one.shape, one.shape_standard_error, 2),
            _estimate(one.scale, one.scale_standard_error, 1),
            words(shown.lacking(one.missing) if one.missing else ""),
        )
        for one in found
    )
    return Table(
        "cause-fits",
        _("Weibull fit of each cause, frames lost to other causes censored"),
        ("cause", "returns", "shape", "scale_months", "missing"),
        (_("Cause"), _("First returns"), _("Shape"), _("Scale, months"), _("Note")),
        rows,
    )


def _estimate(figure: float | None, error: float | None, places: int) -> Cell:
    if figure is None or error is None:
        return Cell(None, "–")
    # On the logarithm, so that no limit of a wide range falls below 0.
    factor = exp(2 * error / figure)
    low, high = figure / factor, figure * factor
    limits = f"{fixed(low, places)} – {fixed(high, places)}"
    return Cell(figure, f"{fixed(figure, places)} ({limits})")


def _whole_percent(share: float) -> str:
    return f"{share * 100:.0f} %"
