"""Our own drawings in the customers' pages."""

from __future__ import annotations

from django import template
from django.forms import BoundField
from django.forms.boundfield import BoundWidget

from returns.pages.customer import drawing

register = template.Library()


@register.simple_tag
def drawn_parts(field: BoundField) -> list[tuple[BoundWidget, drawing.Shape]]:
    """The radio buttons of a choice of component, each with its shape, nearest part last."""
    radios = {radio.data["value"]: radio for radio in field}
    return [(radios[key], shape) for key, shape in drawing.SHAPES.items() if key in radios]
