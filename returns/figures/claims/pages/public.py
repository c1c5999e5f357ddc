"""What we say of ourselves, with its evidence: open to everybody once the owner has opened it."""

from __future__ import annotations

from typing import Any

from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.cache import patch_cache_control
from django.views.decorators.http import require_safe

from inventory.models import Workshop
from returns.figures.claims.queries.claims_sheet import Line, words
from returns.figures.claims.queries.public_claims import METHODS, PublicClaims, public_claims

FRESH_S = 300


@require_safe
def page(request: HttpRequest) -> HttpResponse:
    """Show each sentence with its figure, range, period, method, and what it does not cover."""
    found = _opened()
    facts = {"found": found, "lines": [_shown(line) for line in found.lines] if found else []}
    return _fresh(render(request, "returns/customer/claims.html", facts))


@require_safe
def data(request: HttpRequest) -> HttpResponse:
    """Give the same claims as JSON, for a program to read."""
    found = _opened()
    workshop = Workshop.the()
    given: dict[str, Any] = {
        "workshop": workshop.name,
        "invented": workshop.demo,
        "first_month": found.span.labels[0] if found else None,
        "last_month": found.span.labels[1] if found else None,
        "last_month_digest": found.digest if found else None,
        "claims": [_as_data(request, line) for line in found.lines] if found else [],
    }
    return _fresh(JsonResponse(given, json_dumps_params={"ensure_ascii": False, "indent": 1}))


def _opened() -> PublicClaims | None:
    if not Workshop.the().public_page:
        # As if there were no such page: whether it exists is the owner's to tell.
        raise Http404
    return public_claims()


def _fresh(answer: HttpResponse) -> HttpResponse:
    # Nothing here is of a person, so any cache may keep it; briefly, for the owner may shut the
    # page.
    patch_cache_control(answer, public=True, max_age=FRESH_S)
    return answer


def _method(line: Line) -> str:
    return f"{reverse('method')}#{METHODS[line.key]}"


def _shown(line: Line) -> dict[str, Any]:
    given = words(line.claim) if line.claim else {}
    return {"line": line, "claim": line.claim, "words": given, "method": _method(line)}


def _as_data(request: HttpRequest, line: Line) -> dict[str, Any]:
    claim = line.claim
    if claim is None:
        return {}
    return {
        "key": line.key,
        "sentence": line.sentence,
        "figure_percent": claim.figure_percent,
        "range_percent": claim.interval_percent,
        "range": line.spread,
        "period": claim.subject.period,
        "scope": claim.subject.scope,
        "basis": claim.subject.basis,
        "method": claim.subject.method,
        "method_address": request.build_absolute_uri(_method(line)),
        "evidence": claim.evidence,
        "evidence_needed": claim.needed,
        "evidence_of": line.evidence_of,
        "does_not_cover": claim.subject.excludes,
    }
