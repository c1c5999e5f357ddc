"""The owner's lines about the running of the service itself: copies, and mail that stays here."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

from django.utils.formats import date_format
from django.utils.timezone import localtime
from django.utils.translation import gettext as _

from inventory.queries import copies
from inventory.staff.pages.desk import Note


def notes(at: datetime) -> list[Note]:
    """What the owner must know before the work of the day."""
    return _copies(at)


def _copies(at: datetime) -> list[Note]:
    """Red once more than two days of work would be lost with this machine."""
    standing = copies.standing()
    found = []
    if standing.proved:
        words = _("Last proved copy: %(at)s (%(file)s).") % {
            "at": _moment(standing.proved.at),
            "file": Path(standing.proved.file).name,
        }
        found.append(Note(words, "", is_alarm=standing.is_old(at)))
    elif standing.since:
        words = _("There is no proved copy of this workshop yet. The service makes one a night.")
        found.append(Note(words, "", is_alarm=standing.is_old(at)))
    if standing.failed:
        words = _("A copy failed on %(at)s: %(why)s") % {
            "at": _moment(standing.failed.at),
            "why": standing.failed.why,
        }
        found.append(Note(words, "", is_alarm=standing.is_old(at), is_urgent=True))
    return found


def _moment(at: datetime) -> str:
    return date_format(localtime(at), "SHORT_DATETIME_FORMAT")
