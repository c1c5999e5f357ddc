"""The accountant's lines on the desk: the month that waits, and the journal to hand over."""

from __future__ import annotations

from datetime import datetime

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.journal import queries as journal
from inventory.months.queries import asked, months
from inventory.months.queries.months import Standing
from inventory.staff.pages.desk import Note


def notes(at: datetime) -> list[Note]:
    """Return what waits for the accountant: the next month once it has ended, then the journal."""
    return [*_month(at), *_journal()]


def _month(at: datetime) -> list[Note]:
    following = months.next_to_close()
    if following is None or months.standing(str(following), at) != Standing.ENDED:
        return []
    label = str(following)
    count = len(months.reasons(label, at))
    if not count:
        text = _("%(month)s has ended and can be closed: read its figures.")
        return [Note(text % {"month": label}, reverse("month-close", args=[label]), is_urgent=True)]
    words = ngettext(
        "%(month)s has ended; %(count)s thing keeps it open.",
        "%(month)s has ended; %(count)s things keep it open.",
        count,
    )
    address = reverse("month", args=[label])
    return [Note(words % {"month": label, "count": count}, address, is_urgent=True)]


def _journal() -> list[Note]:
    label = journal.next_export()
    if not label:
        return []
    missing = len(journal.unnumbered(label))
    if missing:
        words = ngettext(
            "The journal of %(month)s waits for %(count)s account number.",
            "The journal of %(month)s waits for %(count)s account numbers.",
            missing,
        )
        return [Note(words % {"month": label, "count": missing}, reverse("books-accounts"))]
    text = _("The journal of %(month)s can be handed over.") % {"month": label}
    return [Note(text, reverse("books"))]


def asked_of_the_bench(at: datetime) -> list[Note]:
    """Return what the accountant waits for at the bench before a month can close."""
    found = []
    for one in asked.waiting(at):
        text = _("The accountant waits for this to close %(month)s: %(what)s")
        address = reverse("go-code", args=[one.reason.subject])
        shown = {"month": one.month, "what": one.reason.text}
        found.append(Note(text % shown, address, is_urgent=True))
    return found
