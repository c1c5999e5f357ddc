"""The owner's lines on the desk: what waits today, and where to go for it."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.furniture.pages.frame import address
from inventory.models import Workshop
from inventory.months.pages import waiting
from inventory.running import pages as running
from inventory.staff.pages.desk import Note
from returns.desk.queries.owner_today import OpenAudit, OwnerToday, open_audits, owner_today
from returns.furniture import limits
from returns.setup import queries as readiness


def notes(at: datetime) -> list[Note]:
    """The service itself, the set-up, promises, parts, months; last, the public page."""
    today = owner_today(at)
    audits = _audits(today.open_audits)
    return [
        *running.notes(at),
        *_flood(),
        *_setup(),
        *_late(today),
        *_unanswered(today),
        *_thin(today),
        *_months(today),
        *audits,
        _public(),
    ]


def bench_notes(at: datetime) -> list[Note]:
    """Return notes on what the accountant and the owner ask the bench to do."""
    return [*waiting.asked_of_the_bench(at), *_audits(open_audits())]


def _flood() -> list[Note]:
    """Somebody tries references in great number: no customer is shut out, but it is no chance."""
    if not limits.is_flooded():
        return []
    words = _(
        "Since yesterday references were tried in great number on “Find my request”. Nobody is let "
        "in by that alone; whoever runs the installation finds the addresses in the proxy's log."
    )
    return [Note(words, "", is_alarm=True)]


def _setup() -> list[Note]:
    """Say, before the first customer, how much of the set-up is left."""
    if readiness.is_open():
        return []
    left = sum(step.is_needed and not step.is_done for step in readiness.steps())
    words = ngettext(
        "Not open yet: %(count)s step of the set-up is left.",
        "Not open yet: %(count)s steps of the set-up are left.",
        left,
    )
    return [Note(words % {"count": left}, address("setup"), is_urgent=True)]


def _late(today: OwnerToday) -> list[Note]:
    found = []
    if today.late_frames:
        words = ngettext(
            "%(count)s frame is past its promised day.",
            "%(count)s frames are past their promised day.",
            today.late_frames,
        )
        found.append(Note(words % {"count": today.late_frames}, address("bench"), is_urgent=True))
    if today.late_kits:
        words = ngettext(
            "%(count)s kit of spare screws is past its promised day.",
            "%(count)s kits of spare screws are past their promised day.",
            today.late_kits,
        )
        found.append(Note(words % {"count": today.late_kits}, address("kits"), is_urgent=True))
    return found


def _unanswered(today: OwnerToday) -> list[Note]:
    if not today.unanswered:
        return []
    words = ngettext(
        "%(count)s question to a customer is unanswered for long.",
        "%(count)s questions to customers are unanswered for long.",
        today.unanswered,
    )
    found = f"{address('bench')}?step=asked"
    return [Note(words % {"count": today.unanswered}, found, is_urgent=True)]


def _thin(today: OwnerToday) -> list[Note]:
    if not today.thin_parts:
        return []
    words = _("At or under their reorder level: %(parts)s.")
    words %= {"parts": "; ".join(today.thin_parts)}
    return [Note(words, f"{address('lifetimes')}#parts", is_urgent=True)]


def _months(today: OwnerToday) -> list[Note]:
    if not today.months_to_close:
        return []
    months = ", ".join(today.months_to_close)
    return [Note(_("Ended and not closed: %(months)s.") % {"months": months}, address("months"))]


def _audits(waiting: Iterable[OpenAudit]) -> list[Note]:
    found = []
    for one in waiting:
        words = ngettext(
            "Audit of %(month)s: %(count)s frame to weigh again.",
            "Audit of %(month)s: %(count)s frames to weigh again.",
            one.frames,
        )
        data = words % {"month": one.month, "count": one.frames}
        found.append(Note(data, reverse("audit", args=[one.number]), is_urgent=True))
    return found


def _public() -> Note:
    if Workshop.the().public_page:
        return Note(_("The public page of claims is open."), address("public-claims"))
    return Note(_("The public page of claims is not open."), address("claims"))
