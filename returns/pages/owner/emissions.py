"""Emissions and avoided emissions, two lines a year and no net, apart from any inventory."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_safe

from inventory.pages.access import OWNER, allow
from inventory.reports.numbers import fixed
from returns.models import EmissionFactors, Policy
from returns.queries import emissions
from returns.queries.emissions import Year


@require_safe
@allow(OWNER)
def page(request: HttpRequest) -> HttpResponse:
    """Every year with issues: its statement, or why there is no number."""
    choice = Policy.the()
    facts: dict[str, Any] = {
        "rows": [_row(year) for year in emissions.years()],
        "choice": choice,
        "own": EmissionFactors.objects.all(),
        "shares_url": reverse("admin:returns_policy_change", args=[choice.pk]),
        "factors_url": reverse("admin:returns_emissionfactors_changelist"),
    }
    return render(request, "returns/owner/emissions.html", facts)


def _row(year: Year) -> dict[str, Any]:
    row: dict[str, Any] = {"it": year}
    made = year.statement
    if made is not None and year.process is not None:
        row |= {
            "inventory": _kg(made.inventory_kg),
            "avoided": _kg(made.avoided_kg),
            "low": _kg(made.avoided_low_kg),
            "high": _kg(made.avoided_high_kg),
            "virgin_factor": _kg(made.baseline.kg_co2e_per_unit),
            "process_factor": _kg(year.process.kg_co2e_per_unit),
            "source": made.baseline.source,
            "licence": made.baseline.licence,
        }
    return row


def _kg(kg_co2e: Decimal) -> str:
    return fixed(kg_co2e, 1)
