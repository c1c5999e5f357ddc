"""Closing a month: in order, after its end, when nothing dangles. What is closed never changes.

The database refuses further movements in a closed month; the ledger books what turns up late in
the first open month and notes where it belongs.
"""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING
from uuid import UUID

from django.utils.translation import gettext as _

from inventory import events
from inventory.chain import rules as links
from inventory.chain.queries import head
from inventory.errors import MonthClosed, MonthNotReady
from inventory.events import Draft
from inventory.journal import queries as journal
from inventory.ledger.queries import balances
from inventory.models import Counter, Month, MonthBalance
from inventory.months.queries import chain, months, recovered, replays
from inventory.weighing.queries import traced
from inventory.weighing.sums.traced import frozen_known

if TYPE_CHECKING:
    from django.contrib.auth.models import User


@events.rule(
    "months.close",
    facts=lambda label: ["close", label],
    again=lambda label: Month.objects.get(label=label),
)
def close(event: Draft, /, *, key: UUID, label: str, at: datetime, by: User | None) -> Month:
    """Close a month. A repeat under the same `key` returns the month already closed.

    Raises:
        NotFound: the label names no month.
        MonthClosed: it is closed already, or a later one is.
        MonthNotReady: `facts["reasons"]` lists what dangles, each as "code: text".
    """
    months.parsed(label)
    # Before anything is looked at: what a movement may still change while we look must wait.
    _hold_the_numbers()
    # `>=`: what lies before the first month that was closed has no row, and is shut as well.
    if Month.objects.filter(label__gte=label).exists():
        raise MonthClosed(_("%(month)s is closed already.") % {"month": label})
    _refuse_unready(label, at)
    month = _write(label, at, by)
    event.of(label, digest=month.digest, last_number=month.last_number)
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


def _write(label: str, at: datetime, by: User | None) -> Month:
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
