"""How we weigh and count: open to everybody."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from returns.figures.method import CHOICES, ENTRIES


@require_safe
def page(request: HttpRequest) -> HttpResponse:
    """Show every figure's question, formula, sources, place and limits; then our own numbers."""
    return render(request, "returns/customer/method.html", {"entries": ENTRIES, "choices": CHOICES})
