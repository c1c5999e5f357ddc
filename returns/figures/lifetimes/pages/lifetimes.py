"""How long frames stay out, what comes back next, and which spare parts to order."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from inventory.errors import BadInput
from inventory.furniture.pages.access import allow
from inventory.furniture.pages.forms import FigureField
from inventory.months.sums.calendar_month import Month, month_of
from inventory.staff.queries import OWNER
from returns.catalogue.pages import lists
from returns.figures.circularity.pages import shown
from returns.figures.circularity.pages.tables import Table
from returns.figures.forecast import pages as forecast_tables
from returns.figures.forecast.queries import forecast as forecasts
from returns.figures.forecast.queries.run_off import Outstanding, outstanding
from returns.figures.lifetimes.pages import lifetime_tables
from returns.figures.lifetimes.queries import lifetimes
from returns.figures.span.pages import ScopeForm
from returns.figures.span.queries import Scope, zone


class LifetimesForm(ScopeForm):
    service = FigureField(
        label=gettext_lazy("Spare parts on the shelf in so many of 100 cases"),
        required=False,
        min_value=50,
        max_value=Decimal("99.99"),
        decimal_places=2,
        help_text=gettext_lazy("Empty means 95."),
    )

    @property
    def level(self) -> float:
        """The wanted service as a share; the workshop's own where none was asked for."""
        asked = self.cleaned_data["service"]
        return forecasts.SERVICE_LEVEL if asked is None else float(asked) / 100


@allow(OWNER)
def page(request: HttpRequest) -> HttpResponse:
    """Show curve, causes, fit and forecast of a batch, a model or all; parts of the workshop."""
    form = LifetimesForm(request.GET)
    as_of = last_complete_month(timezone.now())
    facts: dict[str, Any] = {"form": form, "as_of": str(as_of), "wide": True}
    if form.is_valid():
        try:
            facts |= _everything(form.scope(), as_of, form.level)
        except BadInput as error:
            form.add_error(error.field, error.message)
    return render(
        request, "returns/owner/lifetimes.html", facts, status=200 if form.is_valid() else 400
    )


@allow(OWNER)
def download(request: HttpRequest, name: str) -> HttpResponse:
    """Send one table of the page as CSV."""
    make = _DOWNLOADS.get(name)
    if make is None:
        raise Http404
    form = LifetimesForm(request.GET)
    as_of = last_complete_month(timezone.now())
    if form.is_valid():
        try:
            table = make(form.scope(), as_of)
        except BadInput as error:
            form.add_error(error.field, error.message)
    if not form.is_valid():
        facts = {"form": form, "as_of": str(as_of), "wide": True}
        return render(request, "returns/owner/lifetimes.html", facts, status=400)
    return lists.download(f"{name}-{as_of}.csv", table.csv())


def last_complete_month(at: datetime) -> Month:
    return month_of(at, zone()).previous()


def _ahead(scope: Scope, as_of: Month) -> forecasts.Forecast:
    return forecasts.forecast(lifetimes.cohorts(scope, as_of=as_of))


def _ladder(scope: Scope, as_of: Month) -> Outstanding:
    return outstanding(lifetimes.cohorts(scope, as_of=as_of))


# Each table is made only when it is asked for: a forecast simulates, and a CSV needs one table
# alone.
_DOWNLOADS: dict[str, Callable[[Scope, Month], Table]] = {
    "curve": lambda s, m: lifetime_tables.curve(lifetimes.lifetimes(lifetimes.cohorts(s, as_of=m))),
    "causes": lambda s, m: lifetime_tables.causes(lifetimes.causes(s, as_of=m)),
    "incidence": lambda s, m: lifetime_tables.incidence(lifetimes.causes(s, as_of=m)),
    "forecast": lambda s, m: forecast_tables.forecast(_ahead(s, m)),
    "back-tests": lambda s, m: forecast_tables.back_tests(_ahead(s, m).back_tests),
    "outstanding": lambda s, m: forecast_tables.outstanding(_ladder(s, m)),
    "triangle": lambda s, m: forecast_tables.triangle(_ladder(s, m)),
    "masses": lambda s, m: forecast_tables.masses(forecasts.mass_by_colour(s, as_of=m)),
    "kits": lambda s, m: forecast_tables.kits(forecasts.screws_by_month(s, as_of=m)),
    "cause-fits": lifetime_tables.fits_by_cause,
    "part-months": forecast_tables.parts_by_month,
}


def _everything(scope: Scope, as_of: Month, level: float) -> dict[str, Any]:
    # The cohorts are read once and passed on, so that curve, forecast and ladder rest on the same
    # counts.
    found = lifetimes.cohorts(scope, as_of=as_of)
    lived = lifetimes.lifetimes(found)
    ahead = forecasts.forecast(found)
    ladder = outstanding(found)
    return {
        "scope": scope.name,
        "found": found,
        "lived": lived,
        "answer": lifetime_tables.answer(lived, found.sold),
        "lived_lacking": shown.lacking(lived.missing) if lived.missing else "",
        "curve": lifetime_tables.still_out(lived),
        "causes": lifetime_tables.by_cause(lifetimes.causes(scope, as_of=as_of)),
        "fit": lifetime_tables.fit(lived),
        "cause_fits": lifetime_tables.fits_by_cause(scope, as_of),
        "part_months": forecast_tables.parts_by_month(scope, as_of),
        "ahead_lacking": shown.lacking(ahead.missing) if ahead.missing else "",
        "fan": forecast_tables.fan(ahead),
        "tests": [forecast_tables.coverage(test) for test in ahead.back_tests],
        "back_tests": forecast_tables.back_tests(ahead.back_tests),
        "ladder": ladder,
        "ladder_words": forecast_tables.outstanding_words(ladder),
        "outstanding": forecast_tables.outstanding(ladder),
        "triangle": forecast_tables.triangle(ladder),
        "masses": forecast_tables.masses(forecasts.mass_by_colour(scope, as_of=as_of)),
        "kits": forecast_tables.kits(forecasts.screws_by_month(scope, as_of=as_of)),
        "service": f"{100 * level:.10g}",
        "parts": [_Part.of(one) for one in forecasts.part_proposals(as_of=as_of, level=level)],
        "csv": "lifetimes-table",
    }


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
            order=ngettext(
                "%(pieces)s (%(packs)s pack)", "%(pieces)s (%(packs)s packs)", one.order.packs
            )
            % {"pieces": one.order.pieces, "packs": one.order.packs}
            if one.order.pieces
            else _("nothing"),
            note=_("Reorder level. %(lacking)s") % {"lacking": shown.lacking(one.missing)}
            if one.missing
            else _("base stock for %(days)s days") % {"days": one.lead_time_days},
        )
