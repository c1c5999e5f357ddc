"""How long frames stay out, what comes back next, and which spare parts to order."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from inventory.errors import BadInput
from inventory.pages.access import OWNER, allow
from inventory.sums.months import Month, month_of
from returns import charts
from returns.models import FrameModel
from returns.models.remedies import DefectKey
from returns.pages.owner import foresight, shown
from returns.pages.owner.tables import Cell, Table, count, words
from returns.queries import forecast as forecasts
from returns.queries import lifetimes
from returns.queries.span import Scope, by_index, zone
from returns.sums.forecasts import MonthForecast, MonthMass


class ScopeForm(forms.Form):
    model = forms.ModelChoiceField(
        FrameModel.objects.all(),
        label=gettext_lazy("Model"),
        required=False,
        to_field_name="code",
        empty_label=gettext_lazy("All models"),
    )
    batch = forms.CharField(label=gettext_lazy("Production batch"), required=False, max_length=20)

    def scope(self) -> Scope:
        """What the figures are of. BadInput when the batch is unknown or of another model."""
        model = self.cleaned_data["model"]
        return Scope.of_codes(
            model=model.code if model else "", batch=self.cleaned_data["batch"].strip()
        )


@allow(OWNER)
def page(request: HttpRequest) -> HttpResponse:
    """Curve, causes, fit and forecast of a batch, a model or all; parts are of the workshop."""
    form = ScopeForm(request.GET)
    as_of = last_complete_month(timezone.now())
    facts: dict[str, Any] = {"form": form, "as_of": str(as_of), "wide": True}
    if form.is_valid():
        try:
            facts |= _everything(form.scope(), as_of)
        except BadInput as error:
            form.add_error(error.field, error.message)
    return render(
        request, "returns/owner/lifetimes.html", facts, status=200 if form.is_valid() else 400
    )


def last_complete_month(at: datetime) -> Month:
    return month_of(at, zone()).previous()


def _everything(scope: Scope, as_of: Month) -> dict[str, Any]:
    found = lifetimes.cohorts(scope, as_of=as_of)
    lived = lifetimes.lifetimes(found)
    ahead = forecasts.forecast(found)
    return {
        "scope": scope.name,
        "found": found,
        "lived": lived,
        "lived_lacking": shown.lacking(lived.missing) if lived.missing else "",
        "curve": _curve(lived),
        "causes": _causes(lifetimes.causes(scope, as_of=as_of)),
        "fit": _fit(lived),
        "cause_fits": foresight.fits_by_cause(scope, as_of),
        "ahead": ahead,
        "ahead_lacking": shown.lacking(ahead.missing) if ahead.missing else "",
        "covered": None if ahead.covered_share is None else shown.percent(ahead.covered_share),
        "forecast": _forecast_table(ahead),
        "forecast_picture": _forecast_picture(ahead),
        "masses": _masses(forecasts.mass_by_colour(scope, as_of=as_of)),
        "kits": _kits(forecasts.screws_by_month(scope, as_of=as_of)),
        "part_months": foresight.parts_by_month(scope, as_of),
        "parts": [_Part.of(one) for one in forecasts.part_proposals(as_of=as_of)],
    }


def _curve(lived: lifetimes.Lifetimes) -> dict[str, Any] | None:
    if not lived.curve:
        return None
    title = charts.Title(
        _("Frames still out"),
        _("Share of frames that have not come back, by months since the sale, with its band."),
    )
    points = [charts.Point(0, 1, 1, 1)]
    points += [charts.Point(p.span, p.survival, *p.loglog_limits) for p in lived.curve]
    rows = tuple(
        (
            count(round(p.span)),
            count(p.at_risk),
            count(p.failed),
            *(Cell(v, shown.percent(v)) for v in (p.survival, *p.loglog_limits)),
        )
        for p in lived.curve
    )
    headings = (
        _("Months"),
        _("At risk"),
        _("Came back"),
        _("Still out"),
        _("Lower limit"),
        _("Upper limit"),
    )
    keys = ("months", "at_risk", "came_back", "still_out", "low", "high")
    return {
        "svg": charts.curve(title, points, across=_("months since the sale")),
        "table": Table("curve", _("Frames still out, with 95 % limits"), keys, headings, rows),
    }


def _fit(lived: lifetimes.Lifetimes) -> list[tuple[str, str]]:
    fit = lived.fit
    if fit is None:
        return []
    return [
        (_("Shape"), f"{fit.shape:.2f} ± {2 * fit.shape_standard_error:.2f}"),
        (
            _("Scale, months"),
            f"{fit.scale:.1f} ± {2 * fit.scale_standard_error:.1f}",
        ),
        (_("Mean until first return, months"), f"{fit.mean:.1f}"),
        (
            _("A tenth is back after, months"),
            f"{fit.tenth:.1f} ({fit.tenth_limits[0]:.1f} – {fit.tenth_limits[1]:.1f})",
        ),
        (_("First returns of units"), f"{fit.failures} / {fit.units}"),
    ]


def _causes(found: tuple[lifetimes.Cause, ...]) -> Table | None:
    """Cumulative incidence of each cause among the others, by the oldest age it was seen at."""
    if not found:
        return None
    names = {**dict(DefectKey.choices), lifetimes.NOT_LOOKED_OVER: _("not looked over yet")}
    rows = tuple(
        (
            words(cause.key, str(names.get(cause.key, cause.key))),
            count(cause.returns),
            Cell(cause.latest.incidence, shown.percent(cause.latest.incidence)),
            Cell(cause.latest.standard_error, shown.percent(2 * cause.latest.standard_error)),
            count(round(cause.latest.span)),
        )
        for cause in found
    )
    return Table(
        "causes",
        _("Share of frames sold that came back for each cause, the others competing"),
        ("cause", "returns", "incidence", "expanded", "months"),
        (_("Cause"), _("First returns"), _("Share"), _("± (k = 2)"), _("By months")),
        rows,
    )


def _masses(found: tuple[forecasts.ColourMass, ...]) -> Table | None:
    if not found:
        return None
    rows = tuple(
        (
            words(str(by_index(month.month))),
            words(colour.name),
            *(Cell(v / 1000, f"{v / 1000:.1f}") for v in _limits_mg(month)),
        )
        for colour in found
        for month in colour.months
    )
    return Table(
        "masses",
        _("Frame material in the frames to come, g, with 90 % limits"),
        ("month", "colour", "expected_g", "low_g", "high_g"),
        (_("Month"), _("Colour"), _("Expected"), _("Lower limit"), _("Upper limit")),
        rows,
    )


def _limits_mg(month: MonthMass) -> tuple[int, int, int]:
    return month.expected_mg, month.low_mg, month.high_mg


def _kits(found: tuple[MonthForecast, ...]) -> Table | None:
    if not found:
        return None
    rows = tuple(
        (
            words(str(by_index(month.month))),
            Cell(month.expected, f"{month.expected:.1f}"),
            count(month.low),
            count(month.high),
        )
        for month in found
    )
    return Table(
        "kits",
        _("Requests for spare screws to come, with 90 % limits"),
        ("month", "expected", "low", "high"),
        (_("Month"), _("Expected"), _("Lower limit"), _("Upper limit")),
        rows,
    )


def _forecast_table(ahead: forecasts.Forecast) -> Table | None:
    if ahead.made is None:
        return None
    rows = [
        (
            words(str(by_index(month.month))),
            Cell(month.expected, f"{month.expected:.1f}"),
            count(month.low),
            count(month.high),
        )
        for month in ahead.made.months
    ]
    total = ahead.made.total
    rows.append(
        (
            words("total", _("Together")),
            Cell(total.expected, f"{total.expected:.1f}"),
            count(total.low),
            count(total.high),
        )
    )
    return Table(
        "forecast",
        _("First returns to come, with 90 % limits"),
        ("month", "expected", "low", "high"),
        (_("Month"), _("Expected"), _("Lower limit"), _("Upper limit")),
        tuple(rows),
    )


def _forecast_picture(ahead: forecasts.Forecast) -> SafeString | None:
    if ahead.made is None:
        return None
    title = charts.Title(
        _("Returns to come"), _("Expected first returns for each of the next twelve months.")
    )
    months = ahead.made.months
    labels = [str(by_index(month.month)) for month in months]
    return charts.bars(
        title, labels, [charts.Series(_("Expected"), [round(m.expected, 1) for m in months])]
    )


@dataclass(frozen=True, slots=True)
class _Part:
    """A proposal as a line of the page."""

    name: str
    used: str
    free: int
    target: str
    order: str
    note: str

    @classmethod
    def of(cls, one: forecasts.PartProposal) -> _Part:
        return cls(
            name=one.name,
            used=str(sum(one.used_months)),
            free=one.order.position,
            target=str(one.order.target),
            order=_("%(pieces)s (%(packs)s packs)")
            % {"pieces": one.order.pieces, "packs": one.order.packs}
            if one.order.pieces
            else _("nothing"),
            note=_("reorder level; %(lacking)s") % {"lacking": shown.lacking(one.missing)}
            if one.missing
            else _("base stock for %(days)s days") % {"days": one.lead_time_days},
        )
