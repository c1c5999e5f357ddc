"""Closing a month: in order, after its end, when nothing dangles. What is closed never changes.

The database refuses further movements in a closed month; the ledger books what turns up late in
the first open month and notes where it belongs.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any, Final
from uuid import UUID

from django.conf import settings
from django.utils.translation import gettext as _

from inventory import events, outbox
from inventory.chain import rules as links
from inventory.chain.queries import head
from inventory.errors import (
    BadInput,
    MonthClosed,
    MonthNotReady,
    NotAcknowledged,
    NotFound,
    StaleState,
)
from inventory.events import Draft
from inventory.journal import queries as journal
from inventory.ledger.queries import balances
from inventory.models import Counter, Event, Month, MonthBalance
from inventory.months.queries import chain, months, recovered, replays, warnings
from inventory.weighing.queries import traced
from inventory.weighing.sums.traced import frozen_known

if TYPE_CHECKING:
    from django.contrib.auth.models import User


REASON_LENGTH_MAX: Final = 300


@events.rule(
    "months.close",
    # What was acknowledged is added only where something was: keys from before are still answered.
    facts=lambda label, acknowledged: ["close", label, *filter(None, [acknowledged.strip()])],
    again=lambda label: Month.objects.get(label=label),
    aside=("seen",),
)
def close(
    event: Draft,
    /,
    *,
    key: UUID,
    label: str,
    at: datetime,
    by: User | None,
    acknowledged: str = "",
    seen: str = "",
) -> Month:
    """Close a month. A repeat under the same `key` returns the month already closed.

    `acknowledged` is the reason why it is closed in spite of its warnings; it is frozen with them.
    `seen` is the digest of the figures that were shown, "" from a caller who was shown none.

    Raises:
        NotFound: the label names no month.
        MonthClosed: it is closed already, or a later one is.
        MonthNotReady: `facts["reasons"]` lists what dangles, each as "code: text".
        NotAcknowledged: there are warnings and no reason; `facts["warnings"]` lists them.
        StaleState: the figures are not those that were seen.
        BadInput: the reason is longer than 300 characters.
    """
    months.parsed(label)
    # Before anything is looked at: what a movement may still change while we look must wait.
    _hold_the_numbers()
    # `>=`: what lies before the first month that was closed has no row, and is shut as well.
    if Month.objects.filter(label__gte=label).exists():
        raise MonthClosed(_("%(month)s is closed already.") % {"month": label})
    _refuse_unready(label, at)
    if len(acknowledged.strip()) > REASON_LENGTH_MAX:
        raise BadInput(_("Say why, in up to 300 characters."), field="acknowledged")
    month = _write(label, at, by, _Read(acknowledged.strip(), seen))
    event.of(label, digest=month.digest, last_number=month.last_number)
    if settings.ANCHOR_EMAIL:
        outbox.enqueue(topic="anchor", subject=label, at=at, payload={"month": label})
    return month


def _hold_the_numbers() -> None:
    """Hold the end of the chain, which every movement follows on, so that none slips in."""
    links.hold()


def _refuse_unready(label: str, at: datetime) -> None:
    found = months.reasons(label, at)
    if found:
        message = _("%(month)s cannot be closed yet: %(first)s")
        raise MonthNotReady(
            message % {"month": label, "first": found[0].text},
            reasons=[str(reason) for reason in found],
        )


@dataclass(frozen=True, slots=True)
class _Read:
    """What the person who closes has read: the digest shown, and why warnings do not matter."""

    reason: str
    digest: str

    def of(self, report: recovered.Report) -> dict[str, Any]:
        """Return the acknowledgement as it is frozen, or refuse the close."""
        if self.digest and self.digest != recovered.digest(report):
            raise StaleState(
                _("The figures have changed since you read them. Read them again, then close.")
            )
        found = warnings.of_report(report)
        if found and not self.reason:
            raise NotAcknowledged(
                _("This month has warnings. Say why it may be closed all the same."),
                field="acknowledged",
                warnings=[str(one) for one in found],
            )
        # Codes and what they are of: their words depend on the language of who closes.
        return {"reason": self.reason, "warnings": [[one.code, one.subject] for one in found]}


def _write(label: str, at: datetime, by: User | None, read: _Read) -> Month:
    frozen, replay = recovered.frozen_now(), replays.replayed([label])[label]
    report = recovered.build(replay, frozen)
    # Checked last and on the very figures that are about to be frozen: a report that does not tie
    # out must never become one that cannot change.
    standings = journal.at_close(report)
    untied = (*report.gaps, *report.unvalued, *journal.untied(report, standings))
    if untied:
        raise MonthNotReady(
            _("The figures do not tie out. Run checkledger and look at the rows it names."),
            reasons=[f"does-not-tie-out: {row}" for row in untied],
        )
    frozen["acknowledged"] = read.of(report)
    held = balances.at_close(label)
    # Frozen here is whatever the next month opens with or a page shows without a replay. All of it
    # is under the digest below, so it can be trusted as much as the postings.
    frozen["values"] = recovered.held_at_close(report)
    frozen["accounts"] = journal.frozen(standings)
    frozen["part_values"] = recovered.parts_at_close(report)
    frozen["traced"] = traced.frozen(replay.ended)
    frozen["closing_known"] = frozen_known(report.total.known_of("closing"))
    frozen["report"] = recovered.digest(report)
    # The figures themselves, byte for byte: a later version may show more of them, and its form of
    # them is then another one, but never other figures.
    frozen["report_text"] = recovered.canonical(report)
    # With the month's digest goes the whole chain up to here: movements and events.
    at_close = head()
    frozen["chain"] = [at_close.position, at_close.digest]
    last = Month.objects.order_by("-label").first()
    previous = last.digest if last else ""
    month = Month.objects.create(
        label=label,
        closed_at=at,
        closed_by=by,
        previous_digest=previous,
        digest=chain.digest(label, previous, held, frozen),
        # Exact, because the row is locked: no movement of this month can have a later number.
        last_number=Counter.objects.get(name="movement").last,
        figures=frozen,
    )
    MonthBalance.objects.bulk_create(
        MonthBalance(month=month, place_id=place, quantity=quantity)
        for place, quantity in sorted(held.items())
    )
    return month


@events.rule(
    "months.ask_bench",
    facts=lambda label, subject: ["ask bench", label, subject],
    again=lambda event: event,
)
def ask_bench(
    event: Draft, /, *, key: UUID, label: str, subject: str, at: datetime, by: User
) -> Draft | Event:
    """Ask the bench to settle what keeps a month open; its desk says so until it is settled.

    Raises NotFound when nothing of this code keeps the month open.
    """
    del by
    if subject not in {reason.subject for reason in months.reasons(label, at) if reason.subject}:
        raise NotFound(_("Nothing of this code keeps the month open any more."))
    event.of(subject, month=label)
    return event
