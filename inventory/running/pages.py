"""The owner's lines about the running of the service itself: copies, and mail that stays here."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

from django.conf import settings
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.furniture.pages.frame import address
from inventory.furniture.wording import local
from inventory.masters import queries as practice
from inventory.running.queries import copies, health, outbox
from inventory.staff.pages.desk import Note


def notes(at: datetime) -> list[Note]:
    """What the owner must know before the work of the day."""
    return [*_machine(at), *_mail(), *_outbox(), *_copies(at)]


def _machine(at: datetime) -> list[Note]:
    """What whoever runs the machine must mend before anything here can be trusted."""
    words = {
        "disk": _("The disk is nearly full: soon nothing more can be saved. Make room."),
        "clock": _(
            "Something on record lies in the future: this machine's clock was set back. Set it "
            "right before you go on."
        ),
        "database-clock": _(
            "The clocks of this machine and of its database differ. Set them right."
        ),
        "redis": _("Redis does not answer. Pages go on; letters leave a little later."),
        "worker": _("Letters and reports have waited for more than ten minutes. Start the worker."),
    }
    found = [check for check in health.of_the_machine(at) if not check.is_well]
    return [Note(words[check.code], "", is_alarm=True) for check in found]


def _mail() -> list[Note]:
    """Without a mail server letters are printed where the worker runs, and reach nobody."""
    if settings.MAIL_GOES_OUT:
        return []
    words = _(
        "Letters stay here: no mail server is set, so customers get none "
        "(HINGEBACK_EMAIL_HOST, HINGEBACK_FROM_EMAIL)."
    )
    return [Note(words, address("letters"), is_alarm=not practice.is_on_lately())]


def _outbox() -> list[Note]:
    """What was given up waits for a person; what fails may soon."""
    found, trouble = [], outbox.trouble()
    # An alarm, since nothing tries these again by itself.
    if trouble.given_up:
        words = ngettext(
            "%(count)s letter or report was tried for five days and given up. Have it tried again.",
            "%(count)s letters or reports were tried for five days and given up. "
            "Have them tried again.",
            trouble.given_up,
        ) % {"count": trouble.given_up}
        found.append(Note(words, address("letters"), is_alarm=True))
    if trouble.since:
        words = ngettext(
            "%(count)s letter or report fails again and again, since %(since)s. Last answer: "
            "%(why)s",
            "%(count)s letters or reports fail again and again, since %(since)s. Last answer: "
            "%(why)s",
            trouble.failing,
        ) % {
            "count": trouble.failing,
            "since": local(trouble.since),
            "why": trouble.last_error,
        }
        found.append(Note(words, address("letters"), is_urgent=True))
    return found


def _copies(at: datetime) -> list[Note]:
    """Red once more than two days of work would be lost with this machine."""
    standing = copies.standing()
    found = []
    if standing.proved:
        words = _("Last proved copy: %(at)s (%(file)s).") % {
            "at": local(standing.proved.at),
            "file": Path(standing.proved.file).name,
        }
        found.append(Note(words, "", is_alarm=standing.is_old(at)))
    elif standing.since:
        words = _("There is no proved copy of this workshop yet. The service makes one a night.")
        found.append(Note(words, "", is_alarm=standing.is_old(at)))
    if standing.failed:
        words = _("A copy failed on %(at)s: %(why)s") % {
            "at": local(standing.failed.at),
            "why": standing.failed.why,
        }
        # A failure alone is urgent; red only once two days of work hang on it.
        found.append(Note(words, "", is_alarm=standing.is_old(at), is_urgent=True))
    return found
