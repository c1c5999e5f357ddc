"""What one shift leaves to the next, where lists, a frame's page and today show it."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django import template
from django.template.context import Context

from returns.handover import queries as handover
from returns.handover.pages import taking
from returns.handover.pages.notes import NoteForm, row_of
from returns.models import ReturnedFrame

register = template.Library()


@register.inclusion_tag("returns/handover/on_today.html", takes_context=True)
def handover_notes(context: Context) -> dict[str, Any]:
    """Show the open notes and the form for another."""
    form = NoteForm(auto_id="note_%s")
    rows = [row_of(note) for note in handover.open_notes()]
    return {"rows": rows, "form": form, "csrf_token": context.get("csrf_token")}


@register.inclusion_tag("returns/handover/of_frame.html", takes_context=True)
def handover_of(context: Context, frame: ReturnedFrame) -> dict[str, Any]:
    """Show a frame's photos from the bench and the open notes for it."""
    photos = frame.bench_photos.select_related("taken_by")
    return {
        "frame": frame,
        "may_act": context.get("may_act"),
        "photos": [(one, taking.words(one)) for one in photos],
        "notes": [row_of(note) for note in handover.open_notes(frame)],
        "csrf_token": context.get("csrf_token"),
    }


@register.simple_tag
def shelf_of(subject: str) -> str:
    """Return the shelf of one frame or box; "" for none."""
    place = handover.place_of(subject)
    return place.shelf if place else ""


@register.simple_tag
def shelves_of(subjects: Iterable[str]) -> dict[str, str]:
    """Return the shelves of a list's rows, in one question for all."""
    return handover.places_of(subjects)


@register.filter
def at(found: dict[str, str], subject: str) -> str:
    return found.get(subject, "")


@register.filter
def tags(rows: Iterable[dict[str, Any]]) -> list[str]:
    """Return the tags of a page of frames, or the codes of its boxes."""
    found = (row["it"] for row in rows)
    return [one.tag if hasattr(one, "tag") else one.place.code for one in found]
