"""Tables and pictures of lifetimes, causes, and what comes next."""

from __future__ import annotations

from collections.abc import Sequence

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.reports.numbers import fixed
from returns import charts
from returns.models.remedies import DefectKey
from returns.pages.owner import shown
from returns.pages.owner.pictures import Picture, starts_at
from returns.pages.owner.tables import Cell, Table, count, words
from returns.queries import lifetimes
from returns.queries.forecast import ColourMass, Forecast
from returns.queries.lifetimes import Cause, Lifetimes
from returns.queries.run_off import Outstanding
from returns.queries.span import by_index
from returns.sums.forecasts import BackTest, MonthForecast

CAUSES_DRAWN = 5


def still_out(lived: Lifetimes) -> Picture | None:
    """The product-limit curve with its band, the fit over it, and the number at risk."""
    if not lived.curve:
        return None
    title = charts.Title(
        _("Frames still out"),
        _(
            "Share of frames that have not come back, by months since the sale, with its band, "
            "the Weibull fit, and how many frames are at risk at each age."
        ),
    )
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
    picture = charts.survival(title, drawn, _whole_percent)
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
                count(round(p.span)),
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
                Cell(cause.latest.incidence, shown.percent(cause.latest.incidence)),
                Cell(cause.latest.standard_error, shown.percent(2 * cause.latest.standard_error)),
                count(round(cause.latest.span)),
            )
            for cause in found
        ),
    )


def incidence(found: Sequence[Cause]) -> Table:
    """Every step of every cause, for the download."""
    return Table(
        "incidence",
        _("Cumulative incidence by cause and age"),
        ("cause", "months", "incidence", "standard_error"),
        (_("Cause"), _("Months"), _("Share"), _("Standard error")),
        tuple(
            (
                words(cause.key, cause_name(cause.key)),
                count(round(point.span)),
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
                (right, cause.latest.incidence),
            ],
        )
        for cause in found[:CAUSES_DRAWN]
    ]
    return [
        Picture(
            _("First returns by cause"),
            causes(found),
            charts.lying_bars(
                bars,
                names,
                [cause.returns for cause in found],
                [str(cause.returns) for cause in found],
            ),
        ),
        Picture(
            _("Came back for each cause, by months since the sale"),
            incidence(found),
            charts.curves(lines, drawn, shown.percent, across=_("months since the sale")),
        ),
    ]


def masses(found: Sequence[ColourMass]) -> Table:
    return Table(
        "masses",
        _("Frame material in the frames to come, g, with 90 % limits"),
        ("month", "colour", "expected_g", "low_g", "high_g"),
        (_("Month"), _("Colour"), _("Expected"), _("Lower limit"), _("Upper limit")),
        tuple(
            (
                words(str(by_index(month.month))),
                words(colour.name),
                *(
                    Cell(v / 1000, fixed(v / 1000, 1))
                    for v in (month.expected_mg, month.low_mg, month.high_mg)
                ),
            )
            for colour in found
            for month in colour.months
        ),
    )


def kits(found: Sequence[MonthForecast]) -> Table:
    return Table(
        "kits",
        _("Requests for spare screws to come, with 90 % limits"),
        ("month", "expected", "low", "high"),
        (_("Month"), _("Expected"), _("Lower limit"), _("Upper limit")),
        tuple(_month(month, str(by_index(month.month))) for month in found),
    )


def _month(month: MonthForecast, name: str, shown_name: str = "") -> tuple[Cell, ...]:
    return (
        words(name, shown_name),
        Cell(month.expected, fixed(month.expected, 1)),
        count(month.low),
        count(month.high),
    )


def forecast(ahead: Forecast) -> Table:
    made = ahead.made
    rows = [_month(month, str(by_index(month.month))) for month in made.months] if made else []
    if made:
        rows.append(_month(made.total, "total", _("Together")))
    return Table(
        "forecast",
        _("First returns to come, with 90 % limits"),
        ("month", "expected", "low", "high"),
        (_("Month"), _("Expected"), _("Lower limit"), _("Upper limit")),
        tuple(rows),
    )


def fan(ahead: Forecast) -> Picture | None:
    """Counts of the months past, and the fan of those to come."""
    if ahead.made is None or ahead.inner is None:
        return None
    title = charts.Title(
        _("Returns past and to come"),
        _(
            "Bars: first returns of the months past. Then what is expected in each of the next "
            "twelve months, with bands that hold 50 and 90 of 100 outcomes."
        ),
    )
    drawn = charts.Fan(
        past=[(str(by_index(month)), number) for month, number in ahead.past],
        ahead=[
            charts.FanMonth(
                label=str(by_index(outer.month)),
                expected=outer.expected,
                inner=(inner.low, inner.high),
                outer=(outer.low, outer.high),
            )
            for outer, inner in zip(ahead.made.months, ahead.inner.months, strict=True)
        ],
        key=(_("came back"), _("expected"), _("50 % limits"), _("90 % limits")),
    )
    return Picture(_("First returns, past and to come"), forecast(ahead), charts.fan(title, drawn))


def coverage(test: BackTest) -> str:
    """How often what came lay within the limits, in words."""
    return ngettext(
        "Forecast %(lead)s month ahead: what came lay within the 90 %% limits in %(covered)s of "
        "%(months)s months.",
        "Forecast %(lead)s months ahead: what came lay within the 90 %% limits in %(covered)s of "
        "%(months)s months.",
        test.lead,
    ) % {
        "lead": test.lead,
        "covered": sum(row.is_covered for row in test.rows),
        "months": len(test.rows),
    }


def back_tests(found: Sequence[BackTest]) -> Table:
    return Table(
        "back-tests",
        _("What was forecast, and what came"),
        ("month", "months_ahead", "expected", "low", "high", "came", "within"),
        (
            _("Month"),
            _("Months ahead"),
            _("Expected"),
            _("Lower limit"),
            _("Upper limit"),
            _("Came"),
            _("Within"),
        ),
        tuple(
            (
                words(str(by_index(row.forecast.month))),
                count(test.lead),
                Cell(row.forecast.expected, fixed(row.forecast.expected, 1)),
                count(row.forecast.low),
                count(row.forecast.high),
                count(row.actual),
                words("yes" if row.is_covered else "no", _("yes") if row.is_covered else _("no")),
            )
            for test in found
            for row in test.rows
        ),
    )


def outstanding(found: Outstanding) -> Table:
    """Month of sale by month of sale: known, expected in the end, still to come."""
    return Table(
        "outstanding",
        _("Returns still to come of what was sold, by month of sale"),
        ("month", "sold", "known", "expected", "outstanding", "standard_error"),
        (
            _("Month of sale"),
            _("Sold"),
            _("Came back so far"),
            _("Expected in the end"),
            _("Still to come"),
            _("± (one standard error)"),
        ),
        tuple(
            (
                words(month.month),
                count(month.sold),
                count(month.known[-1]),
                _tenth(month.expected),
                _tenth(month.outstanding),
                _tenth(month.standard_error),
            )
            for month in found.months
        ),
    )


def _tenth(figure: float) -> Cell:
    return Cell(figure, fixed(figure, 1))


def triangle(found: Outstanding) -> Table:
    """What was known of each month of sale by each age, added up; the last row has the factors."""
    ages = range(found.first_age, found.last_age + 1)
    rows = [
        (
            words(month.month),
            *(count(known) for known in month.known),
            *(Cell(None, "") for _age in range(len(ages) - len(month.known))),
        )
        for month in found.months
    ]
    factors = [Cell(factor, fixed(factor, 3)) for factor in found.factors]
    if rows:
        rows.append((words("factor", _("factor to the next age")), *factors, Cell(None, "")))
    return Table(
        "triangle",
        _("First returns known by each age in months, added up"),
        ("month", *(f"age_{age}" for age in ages)),
        (_("Month of sale"), *(str(age) for age in ages)),
        tuple(rows),
    )


def outstanding_words(found: Outstanding) -> str:
    if found.missing:
        return shown.lacking(found.missing)
    return _(
        "Of what was sold in these months, %(total)s more first returns are expected before age "
        "%(age)s months (standard error %(error)s, %(months)s months of sale)."
    ) % {
        "total": f"{found.total:.0f}",
        "age": found.last_age,
        "error": f"{found.total_standard_error:.0f}",
        "months": len(found.months),
    }


def _whole_percent(share: float) -> str:
    return f"{share * 100:.0f} %"
