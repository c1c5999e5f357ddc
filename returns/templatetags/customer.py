"""Our own drawings in the customers' pages."""

from __future__ import annotations

from django import template

from returns.pages.customer import drawing

register = template.Library()


@register.simple_tag
def shape(component: str) -> str:
    """The outline of a part of the frame, as the data of an SVG path; empty for one not drawn."""
    return drawing.SHAPES.get(str(component), "")
