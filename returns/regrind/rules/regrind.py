"""Ties grind runs to the frames whose material was in the box: they are ground, and their
customers are told. The run itself is a matter of the ledger room."""

from __future__ import annotations

import uuid
from datetime import datetime
from typing import TYPE_CHECKING
from uuid import UUID

from django.db import transaction
from django.db.models import Exists, OuterRef, QuerySet

from inventory import events
from inventory.material.rules import grinding
from inventory.material.rules.grinding import GrindOut
from inventory.models import GrindRun, Movement, Place
from returns.letters import rules as letters
from returns.models import ReturnedFrame
from returns.story.rules import advance, lenses_wait, settle
from returns.story.sums.states import FrameState

if TYPE_CHECKING:
    from django.contrib.auth.models import User


@transaction.atomic
def finish(*, key: UUID, run: GrindRun, out: GrindOut, at: datetime, by: User) -> GrindRun:
    """Weigh out a run; unless it is held, its frames are ground with it."""
    done = grinding.finish(key=key, run=run, out=out, at=at, by=by)
    _tie(key, done, at, by)
    return done


@transaction.atomic
def explain(*, key: UUID, run: GrindRun, explanation: str, at: datetime, by: User) -> GrindRun:
    """Explain a held run; its frames are ground with it."""
    done = grinding.explain(key=key, run=run, explanation=explanation, at=at, by=by)
    _tie(key, done, at, by)
    return done


def frames_in(box: Place, *, up_to: int | None = None) -> QuerySet[ReturnedFrame]:
    """Return frames whose material lies in a box, or lay there as of movement `up_to`."""
    strips = Movement.objects.filter(
        kind="strip_down", subject=OuterRef("tag"), reverses=None, reversed_by=None
    )
    if up_to is not None:
        # By number: numbers follow the order of booking, whatever moments were told.
        strips = strips.filter(number__lte=up_to)
    rows = ReturnedFrame.objects.filter(
        Exists(strips), heaps__box=box, heaps__lot=None, state=FrameState.BOXED
    )
    return rows.select_related("request", "colourway__model").order_by("tag")


def frames_of(run: GrindRun) -> list[ReturnedFrame]:
    """Return the frames that a run grinds, or has ground."""
    if run.lot_id is not None:
        return list(ReturnedFrame.objects.filter(heaps__lot=run.lot_id).order_by("tag"))
    return list(frames_in(run.box, up_to=run.box_movement))


def _tie(key: UUID, run: GrindRun, at: datetime, by: User) -> None:
    """Tie the heaps of a run to its lot. A frame is ground with its last heap, in whatever box.

    A held run has none yet; a repeat finds none in the box.
    """
    if run.state != GrindRun.State.FINISHED:
        return
    # A list, for what is tied to a lot is no longer found in the box.
    for frame in list(frames_in(run.box, up_to=run.box_movement)):
        frame.heaps.filter(box=run.box).update(lot=run.lot)
        if frame.box_id == run.box_id:
            ReturnedFrame.objects.filter(pk=frame.pk).update(lot=run.lot)
        if frame.heaps.filter(lot=None).exists():
            continue
        # Whose lenses still wait on the bench, their story has not ended yet.
        ended_at = None if lenses_wait(frame) else at
        ground = advance(frame, FrameState.GROUND, ended_at=ended_at)
        # A key for each frame, derived from the run's: the same again on a repeat.
        _tell(uuid.uuid5(key, frame.tag), run, ground, at, by)


def _tell(key: UUID, run: GrindRun, frame: ReturnedFrame, at: datetime, by: User) -> None:
    lot = run.lot.code if run.lot else ""
    events.record(
        key=key,
        name="regrind.ground",
        subject=frame.tag,
        facts=[run.code, frame.tag],
        at=at,
        actor=by,
        detail={"run": run.code, "lot": lot},
    )
    settle(frame.request, at)
    if frame.request is not None:
        letters.enqueue(letter="ground", request=frame.request, frame=frame, at=at)
