"""The furniture of pages: form fields, notices, step trails, figures. Only templates use it."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from typing import Any

from django import template
from django.forms import BaseForm, ChoiceField, Field, ModelChoiceField
from django.forms.boundfield import BoundField
from django.http import HttpRequest
from django.template.context import Context
from django.template.loader import render_to_string
from django.utils.html import conditional_escape, format_html, format_html_join
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import pgettext

from inventory.furniture import wording
from inventory.furniture.numbers import grams, uncertainty_g
from inventory.furniture.pages import frame
from inventory.furniture.wording import NOTHING, mass, uncertainty
from inventory.masters import queries as practice
from inventory.models import Colour, Reading
from inventory.months.reports.headings import FLAGS
from inventory.staff.queries import ACCOUNTANT, OWNER
from inventory.weighing.queries import readings
from inventory.weighing.sums.traced import COVERAGE, MassUncertainty

register = template.Library()
for _filter in (
    wording.mass,
    wording.mass_aligned,
    wording.mass_kg,
    wording.money,
    wording.unbroken,
    wording.whole,
    wording.ppm,
    wording.score,
    wording.local,
    wording.uncertainty,
    wording.uncertainty_kg,
):
    register.filter(_filter.__name__, _filter)

NOTICE_KINDS = ("good", "plain", "warn", "bad")
_ROW_OF_HYPHENS = "---------"
_HEX_COLOUR = re.compile(r"#[0-9a-fA-F]{6}")


@register.filter
def paired(headings: Iterable[Any], cells: Iterable[Any]) -> list[tuple[Any, Any]]:
    """Return each cell of a table's row with the heading of its column."""
    return list(zip(headings, cells, strict=False))


@register.simple_tag
def field(bound: BoundField, **attrs: Any) -> SafeString:
    """Return one field with label, hint, input and error tied together for every reader.

    Further arguments become attributes of the input: `{% field form.mass inputmode="decimal" %}`;
    underscores turn into hyphens.
    """
    attrs = {name.replace("_", "-"): setting for name, setting in attrs.items()}
    _word_empty_choice(bound.field)
    widget = bound.as_widget(attrs=attrs)
    if bound.is_hidden:
        return widget
    facts = {
        "field": bound,
        "widget": widget,
        "kind": bound.widget_type,
        "is_single_check": bound.widget_type == "checkbox",
    }
    return render_to_string("hingeback/furniture/field.html", facts)


@register.simple_tag
def cell(bound: BoundField, **attrs: Any) -> SafeString:
    """Return one field for a table's cell: error and input. Its label and hint are the row's head,
    `row_head.html`."""
    attrs = {name.replace("_", "-"): setting for name, setting in attrs.items()}
    facts = {"field": bound, "widget": bound.as_widget(attrs=attrs)}
    return render_to_string("hingeback/furniture/cell.html", facts)


def _word_empty_choice(choice: Field) -> None:
    """Put a word for the framework's row of hyphens, which is read out one by one."""
    if isinstance(choice, ModelChoiceField) and choice.empty_label == _ROW_OF_HYPHENS:
        choice.empty_label = _("choose") if choice.required else pgettext("no choice", "none")


@register.simple_tag
def form_fields(form: BaseForm) -> SafeString:
    """Return every field of a form in order, hidden ones included."""
    return SafeString("\n".join(field(bound) for bound in form))


@register.inclusion_tag("hingeback/furniture/form_errors.html")
def form_errors(form: BaseForm, heading: str = "") -> dict[str, Any]:
    """List what stands in the way of the whole form, each error linked to its field.

    The heading says that nothing was saved; a form that saves nothing gives its own.
    """
    if not form.is_bound or form.is_valid():
        return {"errors": []}
    general = [("", "", message) for message in form.non_field_errors()]
    errors = general + [line for bound in _in_order(form) for line in _error_lines(bound)]
    return {"errors": errors, "heading": heading}


def _in_order(form: BaseForm) -> Iterator[BoundField]:
    """Yield the fields as the page shows them. A form may hold others, one for each further thing
    of a kind, before one of its own fields.
    """
    for bound in form:
        if bound.name == getattr(form, "further_before", ""):
            for part in form.further:  # type: ignore[attr-defined]
                yield from part
        yield bound


@register.inclusion_tag("hingeback/furniture/sent_by_button.html", takes_context=True)
def sent_by_button(context: Context) -> dict[str, Any]:
    """Begin a staff form that changes something, so that no Enter in a field sends it.
    A form's default button is its first one, and a disabled default button stops the sending by
    Enter (HTML standard, 4.10.21.2, implicit submission). Chromium looks on for an enabled one
    when the Enter fell in a checkbox or radio: it finds a button whose method is "dialog", which
    outside a dialog sends nothing (4.10.21.3). Neither needs scripts. The guard against forged
    requests stands here too, so that none of them is forgotten.
    """
    return {"token": context.get("csrf_token", "")}


def _error_lines(bound: BoundField) -> list[tuple[str, str, str]]:
    if not bound.errors:
        return []
    target = "" if bound.is_hidden else _focus_id(bound)
    # A colon follows in the summary, which a question mark or a full stop before it spoils.
    label = str(bound.label).rstrip("?.:")
    if of := getattr(bound.field, "of", ""):
        label = f"{of}, {label}"
    return [(target, label, message) for message in error_words(bound)]


@register.filter
def error_words(bound: BoundField) -> list[str]:
    """Return what to do about a field's errors, with a plainer word than a bare "required"."""
    bare = Field.default_error_messages["required"]
    words = {"file": _("Choose a file."), "checkbox": _("Tick this to go on.")}
    plain = _("Choose one of these.") if _is_choice(bound) else _("Fill this in.")
    kind = bound.widget_type.removeprefix("clearable")
    return [words.get(kind, plain) if text == bare else str(text) for text in bound.errors]


def _is_choice(bound: BoundField) -> bool:
    return isinstance(bound.field, ChoiceField | ModelChoiceField)


def _focus_id(bound: BoundField) -> str:
    """Return the id that a link can put the focus on; of a group, that of its first choice."""
    if bound.id_for_label:
        return bound.id_for_label
    first = bound.subwidgets[0].id_for_label if bound.subwidgets else ""
    return first or bound.auto_id


@register.simple_block_tag
def notice(content: str, kind: str = "plain") -> SafeString:
    """Set off a text: good, plain, warn or bad. The kind is also said in words."""
    kind = kind if kind in NOTICE_KINDS else "plain"
    spoken = {"good": _("Done:"), "plain": "", "warn": _("Please note:"), "bad": _("Problem:")}
    prefix = spoken[kind]
    if prefix:
        prefix = format_html('<span class="visually-hidden">{} </span>', prefix)
    return format_html(
        '<div class="notice notice-{}">{}{}</div>', kind, prefix, conditional_escape(content)
    )


@register.simple_block_tag
def caution(content: str) -> SafeString:
    """Warn that somebody can be hurt. The word is always there, never colour alone."""
    return format_html(
        '<div class="caution" role="note"><strong class="caution-word">{}</strong>{}</div>',
        _("Caution"),
        conditional_escape(content),
    )


@register.simple_tag
def empty(text: str) -> SafeString:
    """Say that a list is empty, where the list would be.

    Directly inside a `{% for %}` the loop's own `{% empty %}` must come first.
    """
    return format_html('<p class="empty">{}</p>', text)


@register.inclusion_tag("hingeback/furniture/steps.html")
def steps(items: Iterable[Any], current: object = None) -> dict[str, Any]:
    """Show a step trail. Items are labels or (key, label); `current` is a key, label or index."""
    pairs = [item if isinstance(item, tuple | list) else (item, item) for item in items]
    at = _step_index(pairs, current)
    stages = [
        {"label": label, "stage": _stage(index, at)} for index, (_key, label) in enumerate(pairs)
    ]
    return {"steps": stages}


def _step_index(pairs: list[Any], current: object) -> int:
    """Return where the trail stands; -1 when `current` names none of its steps."""
    if isinstance(current, int):
        return current
    for index, (key, label) in enumerate(pairs):
        if current is not None and str(current) in (str(key), str(label)):
            return index
    return -1


def _stage(index: int, at: int) -> str:
    if index == at:
        return "current"
    return "done" if index < at else "ahead"


@register.simple_tag
def figure(value: object, label: str, unit: str = "", known: object = None) -> SafeString:
    """Show a key figure with its name, unit and uncertainty; None reads as a dash."""
    facts = {
        "value": NOTHING if value is None else value,
        "label": label,
        "unit": unit,
        "known": known,
    }
    return render_to_string("hingeback/furniture/figure.html", facts)


@register.simple_tag(takes_context=True)
def measured(context: Context, mass_mg: object, known: object) -> SafeString:
    """Show a mass with its expanded uncertainty and factor, or say that nobody weighed it.

    `known` is the mass's uncertainty from `weighing.sums.traced`, or the one reading that it is.
    What speaks against a scale is said once a page, and marked with a dagger after that.
    """
    return _measured(mass_mg, known, context.get("request"))


def _measured(mass_mg: object, known: object, request: HttpRequest | None = None) -> SafeString:
    facts = _spread_facts(_known(known)) | {"mass": mass(mass_mg)}
    facts["said"] = _said_before(facts["flags"], request)
    return render_to_string("hingeback/furniture/measured.html", facts)


def _said_before(flags: list[str], request: HttpRequest | None) -> bool:
    """Whether this page has said these doubts already; they count as said from now on."""
    if request is None or not flags:
        return False
    said: set[tuple[str, ...]] = getattr(request, "_hingeback_doubts_said", set())
    is_said = tuple(flags) in said
    request._hingeback_doubts_said = said | {tuple(flags)}  # type: ignore[attr-defined]
    return is_said


@register.simple_tag(takes_context=True)
def spread(context: Context, known: object, *, once: bool = False) -> SafeString:
    """Show the uncertainty alone, to stand beside its mass; `once` where the page says k itself."""
    facts = _spread_facts(_known(known)) | ({"factor": ""} if once else {})
    facts["said"] = _said_before(facts["flags"], context.get("request"))
    return render_to_string("hingeback/furniture/spread.html", facts)


@register.simple_tag
def spread_under(known: object, unit: str = "") -> SafeString:
    """Show the uncertainty under a mass in a table of grams with three decimals, lined up.

    The table says once what ± and the dagger mean. `unit` is "g" where the masses have it too.
    """
    data, after = _known(known), f" {unit}" if unit else ""
    facts = _spread_facts(data) | {
        "expanded": f"{uncertainty_g(data.expanded_ug)}{after}",
        "unweighed": f"{grams(data.booked_mg)}{after}" if data.booked_mg else "",
        "factor": "",
        "under": True,
    }
    return render_to_string("hingeback/furniture/spread.html", facts)


@register.simple_tag
def spread_below(known: object) -> SafeString:
    """Show the uncertainty on a line of its own in a table of masses, so that decimals align."""
    facts = _spread_facts(_known(known))
    drawn = render_to_string("hingeback/furniture/spread.html", facts)
    return format_html('<span class="below">{}</span>', drawn)


@register.simple_tag
def not_weighed(mass_mg: int) -> SafeString:
    """Show a mass from a drawing, a bill or a nominal figure, which nobody weighed."""
    return _measured(mass_mg, MassUncertainty(booked_mg=abs(mass_mg)))


def _known(data: object) -> MassUncertainty:
    if isinstance(data, Reading):
        return readings.known(data)
    return data if isinstance(data, MassUncertainty) else MassUncertainty()


def _spread_facts(data: MassUncertainty) -> dict[str, Any]:
    words = {name: _("scale: %(flag)s") % {"flag": text} for name, text in FLAGS.items()}
    return {
        "weighed": data.is_weighed,
        "expanded": uncertainty(data.expanded_ug),
        "factor": COVERAGE,
        "unweighed": mass(data.booked_mg) if data.booked_mg else "",
        "flags": sorted({words.get(flag, flag) for (_scale, flag), _count in data.flags}),
    }


@register.simple_tag
def swatch(colour: Colour | str) -> SafeString:
    """Show a spot of a colour, or of `#rrggbb`, beside its name; nothing for any other text.

    A marbled blend has its veins in it.
    """
    ground = colour.swatch if isinstance(colour, Colour) else str(colour)
    veins = colour.veins.split() if isinstance(colour, Colour) else []
    # They go into attributes of the picture: only what is surely a colour may.
    if not all(_HEX_COLOUR.fullmatch(hue) for hue in (ground, *veins)):
        return SafeString("")
    return format_html(
        '<svg class="swatch" viewBox="0 0 16 16" width="16" height="16" aria-hidden="true">'
        '<circle cx="8" cy="8" r="7" fill="{}"/>{}</svg>',
        ground,
        format_html_join("", '<path class="vein" d="{}" stroke="{}"/>', _veins(veins)),
    )


_VEINS = (
    "M1.6 6C4 3.4 6.2 8.4 9 5.2S13 4.2 14.5 5.6",
    "M2 10.8C5 8 6.8 12.6 9.8 9.6S13.4 9 14.6 9.8",
    "M4.4 2.4C6 4 8.4 1.8 11.6 3",
    "M4 14C6.6 11.6 8.8 14.4 11.8 12.6",
)


def _veins(hues: list[str]) -> list[tuple[str, str]]:
    """Return the lines of a marbled swatch with their colours, dealt out in turn."""
    return [(line, hues[at % len(hues)]) for at, line in enumerate(_VEINS)] if hues else []


@register.simple_tag(takes_context=True)
def doors(context: Context) -> list[frame.Door]:
    """Return the links of the main navigation that this visitor may follow."""
    request = context.get("request")
    return frame.doors(request) if request is not None else []


@register.simple_tag(takes_context=True)
def is_staff_room(context: Context) -> bool:
    """Return True for somebody with a role, who gets the code search."""
    request = context.get("request")
    return bool(request is not None and frame.roles(request))


@register.simple_tag(takes_context=True)
def reads_books(context: Context) -> bool:
    """Return True for somebody who may open movements and months."""
    request = context.get("request")
    return bool(request is not None and frame.roles(request) & {ACCOUNTANT, OWNER})


@register.simple_tag(takes_context=True)
def is_owner(context: Context) -> bool:
    """Return True for the owner of the workshop."""
    request = context.get("request")
    return bool(request is not None and OWNER in frame.roles(request))


@register.inclusion_tag("hingeback/practice_mark.html", takes_context=True)
def practice_mark(context: Context, kind: str = "page") -> dict[str, Any]:
    """Mark the paper of a practice installation as invented. Shows nothing on a real one.

    A template that draws the mark many times sets `is_practice` itself, so it is read only once.
    """
    known = context.get("is_practice")
    return {"is_practice": practice.is_on() if known is None else known, "kind": kind}
