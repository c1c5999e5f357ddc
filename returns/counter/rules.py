"""Taking a frame in at the counter: the filing, the consent, the parcel and the weigh-in in one go.

The same rules as for a frame that comes by post, in one transaction: all of it happens or nothing.
"""

from __future__ import annotations

import uuid
from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING
from uuid import UUID

from django.utils.translation import gettext as _

from inventory import events
from inventory.errors import BadInput
from inventory.events import Draft
from returns.arriving import rules as arriving
from returns.arriving.rules import Arrival, WeighIn
from returns.customers import rules as people
from returns.filing.rules import intake
from returns.filing.rules.intake import Filing, Plan
from returns.letters import rules as letters
from returns.models import Request, WalkIn

if TYPE_CHECKING:
    from django.contrib.auth.models import User


def take_in(
    *,
    key: UUID,
    filing: Filing,
    weighing: WeighIn,
    consent: str,
    at: datetime,
    by: User,
    collects: bool = False,
) -> WalkIn:
    """Take in the one frame of a filing. The email of its contact may be empty.

    `weighing` names no request; `consent` says how the customer gave the wish, which `by` saw.
    `collects` is the customer's word that they fetch it here, so that nothing goes by post.
    A repeat under the same key returns the same walk-in.

    Raises:
        BadInput: a field will not do; `field` names it, also of a mass that no such frame weighs.
        KeyReused: the key was used for something else.
    """
    return intake.once(
        lambda: _take_in(
            key=key,
            plan=intake.planned(key, filing, checked=people.checked_without_email),
            weighing=weighing,
            consent=consent,
            collects=collects,
            at=at,
            by=by,
        )
    )


@events.rule(
    "counter.take_in",
    # Said only where it is so: what was asked before anybody could say it reads as it did.
    facts=lambda plan, weighing, consent, collects: [
        *plan.facts,
        *weighing.facts(),
        consent,
        *(["collects"] if collects else []),
    ],
    again=lambda key: WalkIn.objects.get(request__key=key),
)
def _take_in(
    event: Draft,
    /,
    *,
    key: UUID,
    plan: Plan,
    weighing: WeighIn,
    consent: str,
    collects: bool,
    at: datetime,
    by: User,
) -> WalkIn:
    if consent not in WalkIn.Consent.values:
        raise BadInput(
            _("The customer presses their wish on the screen, or signs the slip."), field="consent"
        )
    request = intake.write_return(plan, at=at)
    Request.objects.filter(pk=request.pk).update(collects=collects)
    request.collects = collects
    walk_in = WalkIn.objects.create(request=request, consent=consent, seen_by=by, at=at)
    # Its parts are rules with events of their own, under keys that a repeat derives again.
    arrival = Arrival(weighing=replace(weighing, request=request), is_last=True)
    frame = arriving.take_in(key=uuid.uuid5(key, "frame"), arrival=arrival, at=at, by=by)
    event.of(request.reference, consent=consent, frame=frame.tag)
    letters.enqueue(letter="taken_in", request=request, frame=frame, at=at)
    return walk_in
