"""Tables and pictures of what comes next: first returns, grams, spare screws and parts."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.furniture.numbers import fixed
from inventory.months.sums.calendar_month import Month
from returns import charts
from returns.figures.circularity.pages import shown
from returns.figures.circularity.pages.pictures import Picture
from returns.figures.circularity.pages.tables import Cell, Table, count, tenths, words
from returns.figures.forecast.queries import part_months
from returns.figures.forecast.queries.forecast import ColourMass, Forecast
from returns.figures.forecast.queries.run_off import Outstanding
from returns.figures.forecast.sums.forecasts import BackTest, MonthForecast
from returns.figures.span.queries import Scope, by_index


def forecast(ahead: Forecast) -> Table:
    made = ahead.made
    rows = [_month(month, str(by_index(month.month))) for month in made.months] if made else []
    if made:
        rows.append(_month(made.total, "total", _("Together")))
    return _by_month("forecast", _("First returns to come, with 90 % limits"), rows)


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
    picture = charts.for_screens(partial(charts.fan, title, drawn))
    return Picture(_("First returns, past and to come"), forecast(ahead), picture)


def coverage(test: BackTest) -> str:
    """Say how often what came lay within the limits, and how far the middle was off."""
    held = ngettext(
        "Forecast %(lead)s month ahead: what came lay within the 90 %% limits in %(covered)s of "
        "%(months)s months.",
        "Forecast %(lead)s months ahead: what came lay within the 90 %% limits in %(covered)s of "
        "%(months)s months.",
        test.lead,
    ) % {
        "lead": test.lead,
        "covered": test.covered,
        "months": len(test.rows),
    }
    data = {"frames": fixed(abs(test.mean_error), 1)}
    # gettext does not read inside an f-string.
    more = _("On average %(frames)s frames more came than expected.") % data
    fewer = _("On average %(frames)s frames fewer came than expected.") % data
    return f"{held} {more if test.mean_error < 0 else fewer}"


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
                tenths(row.forecast.expected),
                count(row.forecast.low),
                count(row.forecast.high),
                count(row.actual),
                words("yes" if row.is_covered else "no", _("yes") if row.is_covered else _("no")),
            )
            for test in found
            for row in test.rows
        ),
    )


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
                *(tenths(v / 1000) for v in (month.expected_mg, month.low_mg, month.high_mg)),
            )
            for colour in found
            for month in colour.months
        ),
    )


def kits(found: Sequence[MonthForecast]) -> Table:
    rows = [_month(month, str(by_index(month.month))) for month in found]
    return _by_month("kits", _("Requests for spare screws to come, with 90 % limits"), rows)


def _by_month(name: str, caption: str, rows: Sequence[tuple[Cell, ...]]) -> Table:
    return Table(
        name,
        caption,
        ("month", "expected", "low", "high", "from_sold", "from_sales_to_come"),
        (
            _("Month"),
            _("Expected"),
            _("Lower limit"),
            _("Upper limit"),
            _("Of what is sold"),
            _("Of what will be sold"),
        ),
        tuple(rows),
    )


def parts_by_month(scope: Scope, as_of: Month) -> Table:
    """Spare parts month by month; models with thin data are named beside what is left."""
    rows = tuple(
        (
            words(str(by_index(month.month))),
            words(part.code, part.name),
            tenths(month.expected),
            count(month.low),
            count(month.high),
            words(", ".join(part.thin)),
        )
        for part in part_months.parts_by_month(scope, as_of=as_of)
        for month in part.months
    )
    return Table(
        "part-months",
        _("Pieces that customers will ask for, with 90 % limits"),
        ("month", "part", "expected", "low", "high", "models_left_out"),
        (
            _("Month"),
            _("Part"),
            _("Expected"),
            _("Lower limit"),
            _("Upper limit"),
            _("Too little is known of"),
        ),
        rows,
    )


def outstanding(found: Outstanding) -> Table:
    """Show for each month of sale what came, what is expected in the end, what is to come."""
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
                tenths(month.expected),
                tenths(month.outstanding),
                tenths(month.standard_error),
            )
            for month in found.months
        ),
    )


def triangle(found: Outstanding) -> Table:
    """Show returns by month of sale and age, added up; the last row has the factors."""
    ages = range(found.first_age, found.last_age + 1)
    rows = [
        (
            words(month.month),
            *(count(known) for known in month.known),
            # The ages that a young cohort has not lived yet are empty, which is not the same as
            # zero.
            *(Cell(None, "") for _age in range(len(ages) - len(month.known))),
        )
        for month in found.months
    ]
    factors = [Cell(factor, fixed(factor, 3)) for factor in found.factors]
    if rows:
        # There is one factor less than ages: nothing follows the last.
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


def _month(month: MonthForecast, name: str, shown_name: str = "") -> tuple[Cell, ...]:
    return (
        words(name, shown_name),
        tenths(month.expected),
        count(month.low),
        count(month.high),
        tenths(month.from_sold),
        tenths(month.expected - month.from_sold),
    )
