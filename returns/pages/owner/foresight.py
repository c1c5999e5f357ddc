"""Two tables of the page on lifetimes: a fit for each cause, and spare parts by month."""

from __future__ import annotations

from math import exp

from django.utils.translation import gettext as _

from inventory.reports.numbers import fixed
from inventory.sums.months import Month
from returns.models.remedies import DefectKey
from returns.pages.owner import shown
from returns.pages.owner.tables import Cell, Table, count, words
from returns.queries import cause_fits, part_months
from returns.queries.span import Scope, by_index


def fits_by_cause(scope: Scope, as_of: Month) -> Table:
    """How each cause acts by itself: a shape under 1 early, over 1 by wear."""
    found = cause_fits.cause_fits(scope, as_of=as_of)
    names = dict(DefectKey.choices)
    rows = tuple(
        (
            words(one.cause, str(names.get(one.cause, one.cause))),
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


def parts_by_month(scope: Scope, as_of: Month) -> Table:
    """Spare parts month by month; models with thin data are named beside what is left."""
    rows = tuple(
        (
            words(str(by_index(month.month))),
            words(part.code, part.name),
            Cell(month.expected, fixed(month.expected, 1)),
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


def _estimate(figure: float | None, error: float | None, places: int) -> Cell:
    if figure is None or error is None:
        return Cell(None, "–")
    # On the logarithm, so that no limit of a wide range falls below 0.
    factor = exp(2 * error / figure)
    low, high = figure / factor, figure * factor
    limits = f"{fixed(low, places)} – {fixed(high, places)}"
    return Cell(figure, f"{fixed(figure, places)} ({limits})")
