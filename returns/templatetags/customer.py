"""Our own drawings in the customers' pages."""

from __future__ import annotations

import re
from base64 import b64encode

from django import template
from django.forms import BoundField
from django.forms.boundfield import BoundWidget
from django.utils.html import escape
from django.utils.safestring import SafeString

from inventory.models import Workshop, WorkshopLogo
from inventory.templatetags.hingeback import swatch
from returns.filing.pages import drawing
from returns.filing.pages.slip_pdf import OWN_PICTURE
from returns.filing.queries import terms
from returns.models import Colourway
from returns.models.catalogue import ComponentKey

register = template.Library()

_CODE = re.compile(r"\b[A-Z]-[0-9A-Z]{4}-[0-9A-Z]{4}\b")


@register.filter
def whole_codes(text: str) -> SafeString:
    """A sentence whose tags and codes are not broken at their hyphens, nor changed for copying."""
    return SafeString(_CODE.sub(r'<span class="nowrap">\g<0></span>', escape(text)))


@register.simple_tag
def drawn_parts(
    field: BoundField,
) -> list[tuple[BoundWidget, list[tuple[str, drawing.Shape]]]]:
    """The radio buttons of a choice of component, each with its shapes, nearest part last."""
    radios = {radio.data["value"]: radio for radio in field}
    return [(radios[key], shapes) for key, shapes in drawing.variants() if key in radios]


@register.simple_tag
def drawn_frame(field: BoundField) -> Colourway | None:
    """The colourway that a filing form's drawing shows at first: the chosen one, or the first."""
    rows = {str(one.pk): one for one in field.field.queryset}  # type: ignore[attr-defined]
    return rows.get(str(field.value() or "")) or next(iter(rows.values()), None)


@register.simple_tag
def logo_data(workshop: Workshop) -> str:
    """The workshop's logo as an address that holds the picture itself; "" without one."""
    found = WorkshopLogo.objects.first() if workshop.logo_digest else None
    return OWN_PICTURE + b64encode(found.png).decode() if found else ""


@register.simple_tag
def front_outline(rim: str) -> str:
    """The outline of a front with such rims, to be told from others at a glance."""
    shapes = drawing.RIMS[rim].shapes()
    return f"{shapes[ComponentKey.FRONT].body} {shapes[ComponentKey.BRIDGE].body}"


@register.simple_tag
def looks(colourway: Colourway) -> SafeString:
    """The spots of a colourway's materials: the front's first, then those of what differs.

    Callers prefetch `differing__colour`, so that a list asks once.
    """
    others = {one.colour for one in colourway.differing.all() if one.colour is not None}
    rest = sorted(others - {colourway.colour}, key=lambda colour: colour.code)
    return SafeString("".join(swatch(colour) for colour in (colourway.colour, *rest)))


@register.simple_tag
def arms_hue(colourway: Colourway) -> str:
    """The colour of arms that differ from the front, as #rrggbb; "" when they do not."""
    arms = [one for one in colourway.differing.all() if one.key.startswith("arm_")]
    return next((one.colour.swatch for one in arms if one.colour is not None), "")


@register.simple_tag
def cost_words(kind: str) -> list[str]:
    """What a request of this kind costs and who pays the postage, in sentences."""
    return terms.cost_words(kind)


@register.simple_tag
def name_place() -> str:
    """Where the model's name stands on a frame, in the workshop's words; empty if not entered."""
    return terms.name_place()
