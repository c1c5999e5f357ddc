"""The bench's own tabs, on each of its pages."""

from __future__ import annotations

from typing import Any

from django import template
from django.template.context import Context

from inventory.furniture.pages import frame
from inventory.staff.queries import BENCH, OWNER
from returns.bench.pages import tabs

register = template.Library()


@register.inclusion_tag("returns/bench/tabs.html", takes_context=True)
def bench_tabs(context: Context) -> dict[str, Any]:
    """Show the tabs to whoever works at the bench; the one of this page is marked."""
    request = context.get("request")
    if request is None or not frame.roles(request) & {BENCH, OWNER}:
        return {"tabs": []}
    return {"tabs": tabs.of(request, context.get("frame"))}
