"""Audits of weigh-ins: draw a sample of a month, weigh it again, accept the lot or not.

The lot is what can still be weighed as it came: frames weighed in that month and not taken into
work. The draw ranks tags by a hash with a stored seed, so anybody can repeat it.
"""

from __future__ import annotations

import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from math import ceil
from typing import TYPE_CHECKING
from uuid import UUID

from django.db.models import QuerySet
from django.utils.translation import gettext as _

from inventory import events
from inventory.errors import BadInput, StaleState
from inventory.events import Draft
from inventory.models import Reading, Scale
from inventory.weighing import rules as weighing
from inventory.weighing.queries import readings
from inventory.weighing.sums.weighing import combine
from returns.auditing import sums as sampling
from returns.figures.claims.sums.claims import InputRefused
from returns.figures.span.queries import Span
from returns.models import AuditedFrame, ReturnedFrame, WeighAudit
from returns.story.sums.states import FrameState

if TYPE_CHECKING:
    from django.contrib.auth.models import User

# Own choice: chance alone puts 3 of 1000 good weigh-ins beyond three standard deviations.
COVERAGE_FACTOR = 3.0
AS_THEY_CAME = (
    FrameState.WEIGHED,
    FrameState.HELD,
    FrameState.TO_MEND,
    FrameState.TO_STRIP,
    FrameState.TO_RETURN,
)


@dataclass(frozen=True, slots=True)
class WeighedAgain:
    """What was typed for each tag of the sample, all on one scale. Empty: not there."""

    scale: Scale
    typed: Mapping[str, str]


def lot_of(month: str) -> QuerySet[ReturnedFrame]:
    """Return the frames weighed in a month that are here as they came. BadInput if no month."""
    try:
        span = Span.parse(month, month)
    except BadInput as error:
        # The span names its fields "first" and "last"; this form has one month only.
        raise BadInput(error.message, field="month") from error
    rows = ReturnedFrame.objects.filter(span.holds("weighed_at"), state__in=AS_THEY_CAME)
    return rows.order_by("tag")


@events.rule(
    "audits.draw",
    facts=lambda month, quality_limit: ["draw", month, quality_limit],
    again=lambda key: WeighAudit.objects.get(key=key),
)
def draw(
    event: Draft, /, *, key: UUID, month: str, quality_limit: str, at: datetime, by: User
) -> WeighAudit:
    """Draw the sample of a month. StaleState while an audit of that month is still open."""
    lot = {frame.tag: frame for frame in lot_of(month)}
    plan = plan_of(len(lot), quality_limit)
    # For the sentence alone: of two hands at once, a constraint of the table refuses the second.
    if WeighAudit.objects.filter(month=month, state=WeighAudit.State.OPEN).exists():
        raise StaleState(_("An audit of this month is open. Weigh its frames first."))
    # Drawn only now, after the lot is fixed: who knows the seed before could choose which frames to
    # spare.
    seed = secrets.token_hex(8)
    audit = WeighAudit.objects.create(
        key=key,
        month=month,
        quality_limit=quality_limit,
        # The whole lot is kept beside the seed: without it the draw could not be repeated later,
        # when frames have gone on.
        lot_tags=list(lot),
        seed=seed,
        accept=plan.accept,
        drawn_at=at,
        drawn_by=by,
    )
    drawn = sampling.drawn(list(lot), sample=plan.sample, seed=seed)
    AuditedFrame.objects.bulk_create(AuditedFrame(audit=audit, frame=lot[tag]) for tag in drawn)
    event.of(month, audit=audit.pk, seed=seed, lot=len(lot), sample=plan.sample)
    return audit


def plan_of(lot: int, quality_limit: str) -> sampling.Plan:
    """Return the plan for a lot; BadInput says why there is none."""
    if lot < sampling.LOT_MIN:
        raise BadInput(
            _("Fewer than two frames of this month are here as they came: weigh them as they are."),
            field="month",
        )
    try:
        return sampling.plan(lot=lot, aql=quality_limit)
    except InputRefused as error:
        data = _("There is no plan for this lot and this quality limit. Choose another limit.")
        raise BadInput(data, field="quality_limit") from error


@events.rule(
    "audits.weigh",
    facts=lambda audit, again: ["weigh", audit.pk, again.scale.pk, dict(again.typed)],
    again=lambda audit: WeighAudit.objects.get(pk=audit.pk),
)
def weigh(
    event: Draft, /, *, key: UUID, audit: WeighAudit, again: WeighedAgain, at: datetime, by: User
) -> WeighAudit:
    """Enter what the sample weighs now, and judge the lot. A frame that is not there is wrong."""
    frames = list(audit.frames.select_related("frame__reading__scale"))
    _refuse_strangers(frames, again)
    wrong = sum(_judge(one, again, at) != AuditedFrame.Verdict.AGREES for one in frames)
    state = WeighAudit.State.PASSED if wrong <= audit.accept else WeighAudit.State.FAILED
    # A conditional update decides between two hands, on SQLite too, where a row lock does nothing.
    # It comes after the readings, and the slower hand's are rolled back with it.
    turned = WeighAudit.objects.filter(pk=audit.pk, state=WeighAudit.State.OPEN).update(
        state=state, judged_at=at, judged_by=by
    )
    if turned != 1:
        raise StaleState()
    event.of(audit.month, audit=audit.pk, wrong=wrong, state=state.value)
    return WeighAudit.objects.get(pk=audit.pk)


def _refuse_strangers(frames: list[AuditedFrame], again: WeighedAgain) -> None:
    tags = {one.frame.tag for one in frames}
    strangers = sorted(set(again.typed) - tags)
    if strangers:
        data = _("These frames are not in the sample: %(tags)s.") % {"tags": ", ".join(strangers)}
        raise BadInput(data, field="masses")
    if not any(text.strip() for text in again.typed.values()):
        raise BadInput(_("Enter the mass of at least one frame."), field="scale")


def _judge(one: AuditedFrame, again: WeighedAgain, at: datetime) -> str:
    tag = one.frame.tag
    typed = again.typed.get(tag, "").strip()
    if typed:
        one.reading = weighing.read(scale=again.scale, typed=typed, at=at, field=f"mass-{tag}")
        one.limit_ug = limit_ug(one.frame.reading, one.reading)
        # Both sides in micrograms: the limit is finer than the milligrams of a reading.
        far = abs(one.difference_mg or 0) * 1000 > one.limit_ug
        one.verdict = AuditedFrame.Verdict.DIFFERS if far else AuditedFrame.Verdict.AGREES
    else:
        one.verdict = AuditedFrame.Verdict.MISSING
    one.save(update_fields=["reading", "limit_ug", "verdict"])
    return one.verdict


def limit_ug(then: Reading, now: Reading) -> int:
    """Return three standard deviations of the difference in µg; what a scale shares cancels."""
    # With their signs, so that what one scale does to both weighings cancels (GUM 5.2.2).
    difference = combine([(1, readings.measured(now)), (-1, readings.measured(then))])
    # Upward: a difference at the very limit counts as chance.
    return ceil(COVERAGE_FACTOR * difference.u_mg * 1000)
