"""Between the filing and the parcel: it is in the post, it is late, it rests, it is woken again."""

from __future__ import annotations

import re
import uuid
from datetime import datetime
from typing import Final
from uuid import UUID

from django.db import transaction
from django.utils.translation import gettext as _

from inventory import events
from inventory.errors import BadInput, StaleState
from inventory.events import Draft
from returns.customers import rules as people
from returns.filing.queries import waiting
from returns.letters import rules as letters
from returns.models import Request
from returns.story.sums.states import RequestState, sources

NUMBER_LENGTH_MAX: Final = 40
_BATCH: Final = 200
# A carrier's number is letters and digits, grouped. Common practice, no source.
_NUMBER: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9 .\-/]*")


def _again(request: Request) -> Request:
    return Request.objects.get(pk=request.pk)


@events.rule(
    "intake.say_posted",
    # The number leads to an address at the carrier's: it is fingerprinted under the link's salt.
    facts=lambda request, number: [
        "posted",
        request.reference,
        people.mark([number.strip()], request.link_salt),
    ],
    again=_again,
)
def say_posted(
    event: Draft, /, *, key: UUID, request: Request, number: str, at: datetime
) -> Request:
    """Note that the customer has posted the frame. May be said again, with another number.

    Raises:
        BadInput: the carrier's number will not do.
        StaleState: the parcel is here already, or nothing is awaited.
    """
    tidy = _tidy(number)
    rows = Request.objects.filter(pk=request.pk, state=RequestState.AWAITED.value)
    if rows.update(sent_at=at, carrier_number=tidy) != 1:
        raise StaleState(_("No parcel is awaited for this request now."))
    event.of(request.reference)
    return _again(request)


def _tidy(number: str) -> str:
    tidy = " ".join(number.split())
    if len(tidy) > NUMBER_LENGTH_MAX or (tidy and not _NUMBER.fullmatch(tidy)):
        raise BadInput(
            _("Copy the number from the carrier's receipt: letters and digits, at most %(most)s.")
            % {"most": NUMBER_LENGTH_MAX},
            field="number",
        )
    return tidy


@events.rule("intake.revive", facts=lambda request: ["revive", request.reference], again=_again)
def revive(event: Draft, /, *, key: UUID, request: Request, at: datetime) -> Request:
    """Wake a request that rests: its frame is awaited again, for as long as a new one.

    Raises:
        StaleState: it does not rest.
    """
    rows = Request.objects.filter(pk=request.pk, state=RequestState.RESTING.value)
    awaited = {"state": RequestState.AWAITED.value, "ended_at": None, "revived_at": at}
    # What belonged to the earlier wait goes, so that the customer is reminded anew.
    forgotten = {"sent_at": None, "carrier_number": "", "reminded_at": None}
    if rows.update(**awaited, **forgotten) != 1:
        raise StaleState(_("This request does not rest; there is nothing to wake."))
    event.of(request.reference)
    fresh = _again(request)
    letters.enqueue(letter="filed", request=fresh, at=at)
    return fresh


@transaction.atomic
def remind(at: datetime) -> int:
    """Write once to those whose frame has not come. Returns to how many."""
    found = list(waiting.to_remind(at)[:_BATCH])
    for request in found:
        rows = Request.objects.filter(pk=request.pk, state=RequestState.AWAITED.value)
        # Two workers may hold the same list. The mark is set before the letter is enqueued, in one
        # transaction, so each request gets one.
        if rows.filter(reminded_at=None).update(reminded_at=at) == 1:
            letters.enqueue(letter="reminder", request=request, at=at)
            _record("intake.remind", request, at)
    return len(found)


@transaction.atomic
def rest(at: datetime) -> int:
    """Let those rest whose frame has not come for long, and write to them. Returns how many."""
    found = list(waiting.to_rest(at)[:_BATCH])
    for request in found:
        # A parcel may have been booked since the list was read; the state decides.
        before = [state.value for state in sources(RequestState.RESTING)]
        rows = Request.objects.filter(pk=request.pk, state__in=before)
        if rows.update(state=RequestState.RESTING.value, ended_at=at) == 1:
            letters.enqueue(letter="resting", request=request, at=at)
            _record("intake.rest", request, at)
    return len(found)


def _record(name: str, request: Request, at: datetime) -> None:
    reference = request.reference
    events.record(key=uuid.uuid4(), name=name, subject=reference, facts=[name, reference], at=at)
