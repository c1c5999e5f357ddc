"""Emissions and avoided emissions, two lines a year and no net, apart from any inventory."""

from __future__ import annotations

from decimal import ROUND_CEILING, Decimal
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from inventory.furniture.numbers import fixed
from inventory.furniture.pages.access import allow
from inventory.staff.queries import OWNER
from inventory.wording import unbroken_factor
from returns.figures.emissions import queries as emissions
from returns.figures.emissions.queries import Year
from returns.models import EmissionFactors, Policy


@require_safe
@allow(OWNER)
def page(request: HttpRequest) -> HttpResponse:
    """Show every year with issues: its statement, or why there is no number."""
    choice = Policy.the()
    facts: dict[str, Any] = {
        "rows": [_row(year) for year in emissions.years()],
        "choice": choice,
        "reason": _reason(choice.substitution_reason),
        "own": EmissionFactors.objects.all(),
        "shares_url": reverse("admin:returns_policy_change", args=[choice.pk]),
        "factors_url": reverse("admin:returns_emissionfactors_changelist"),
    }
    return render(request, "returns/owner/emissions.html", facts)


def _reason(kept: str) -> str:
    """Word the reason: the owner's stands as written; that of a new workshop is translated."""
    return _("Own assumption, not measured") if kept == "Own assumption, not measured" else kept


def _row(year: Year) -> dict[str, Any]:
    row: dict[str, Any] = {"it": year}
    made = year.statement
    if made is not None and year.process is not None:
        row |= {
            "inventory": _kg(made.inventory_kg),
            "spread": _spread(year.inventory_expanded_kg),
            "avoided": _kg(made.avoided_kg),
            "low": _kg(made.avoided_low_kg),
            "high": _kg(made.avoided_high_kg),
            "virgin_factor": _kg(made.baseline.kg_co2e_per_unit),
            "process_factor": _kg(year.process.kg_co2e_per_unit),
            "source": made.baseline.source,
            "licence": made.baseline.licence,
        }
    elif year.newest is not None:
        row |= {
            "newest_year": year.newest.year,
            "inventory": _kg(year.newest.inventory_kg),
            "avoided": _kg(year.newest.avoided_kg),
            "low": _kg(year.newest.avoided_low_kg),
            "high": _kg(year.newest.avoided_high_kg),
        }
    return row


def _spread(expanded_kg: Decimal | None) -> str:
    """Word the uncertainty of line 1 by the weighings, never rounded to nothing."""
    if expanded_kg is None:
        return _("no range: masses were booked that nobody weighed")
    # Upward, so that an uncertainty is never shown smaller than it is.
    shown = expanded_kg.quantize(Decimal("0.1"), ROUND_CEILING)
    data = unbroken_factor(_("± %(spread)s by the weighings alone, k = 2"))
    return data % {"spread": _kg(shown)}


def _kg(kg_co2e: Decimal) -> str:
    return fixed(kg_co2e, 1)
