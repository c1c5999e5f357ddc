"""How easy each model is to repair: a profile for the workshop, no claim of conformity."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_safe

from inventory.furniture.numbers import fixed
from inventory.furniture.pages.access import allow
from inventory.staff.queries import OWNER
from returns.figures.repairability import queries as repairability
from returns.figures.repairability.queries import ASPECTS, ModelProfile
from returns.figures.repairability.sums import Aspect
from returns.models.catalogue import ComponentKind

WORDS = {
    Aspect.DISASSEMBLY_DEPTH: _("steps to reach it"),
    Aspect.FASTENERS: _("fasteners"),
    Aspect.TOOLS: _("tools"),
    Aspect.SPARE_PARTS: _("spare parts"),
    Aspect.REPAIR_INFORMATION: _("instructions"),
}


@require_safe
@allow(OWNER)
def page(request: HttpRequest) -> HttpResponse:
    """Show each model's scores by component and aspect, and where a change would help the most."""
    facts: dict[str, Any] = {
        "rows": [_row(one) for one in repairability.profiles()],
        "aspects": [WORDS[aspect] for aspect in ASPECTS],
    }
    return render(request, "returns/owner/repairability.html", facts)


def _row(one: ModelProfile) -> dict[str, Any]:
    edit_url = reverse("admin:returns_framemodel_change", args=[one.model.pk])
    row: dict[str, Any] = {"it": one, "edit_url": edit_url, "missing": ", ".join(one.missing)}
    found = one.profile
    if found is not None:
        kind, aspect = found.weakest
        row |= {
            "score": fixed(found.score, 1),
            "by_aspect": [fixed(found.by_aspect[aspect], 1) for aspect in ASPECTS],
            "weakest": (ComponentKind(kind).label, WORDS[aspect]),
            "lines": [
                (
                    ComponentKind(part.part_key).label,
                    [part.scores[aspect] for aspect in ASPECTS],
                    fixed(found.by_part[part.part_key], 1),
                )
                for part in one.scores
            ],
        }
    return row
