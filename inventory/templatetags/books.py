"""What the accountant's templates need beside the common furniture: places and codes in words."""

from __future__ import annotations

from django import template
from django.template.context import Context
from django.utils.html import format_html
from django.utils.safestring import SafeString

from inventory.furniture.pages import frame
from inventory.ledger.queries import naming
from inventory.models import Place
from inventory.months.pages import subjects
from inventory.months.reports import headings

register = template.Library()

LINK = '<a href="{}">{}</a>'

register.filter("place_words", naming.words)


@register.filter
def kind_words(kind: str) -> str:
    """Return a kind of movement in the words of the report."""
    return str(headings.KINDS.get(kind, kind))


@register.simple_tag(takes_context=True)
def subject_link(context: Context, subject: str) -> SafeString:
    """Return a movement's subject, linked to the page of what it names; nothing for a box's code.

    A box is shown by its place in words, for its code is long and may be cut.
    """
    if subject.startswith("box-"):
        return SafeString("")
    code = format_html('<span class="code nowrap">{}</span>', subject)
    address = subjects.address(subject, frame.roles(context["request"]))
    return format_html(LINK, address, code) if address else code


@register.simple_tag(takes_context=True)
def place_link(context: Context, place: Place) -> SafeString:
    """Return a place in words, linked to its page or to the movements that touch it."""
    words = naming.words(place)
    address = subjects.of_place(place, frame.roles(context["request"]))
    return format_html(LINK, address, words) if address else format_html("{}", words)
