"""Look-over: findings become a computed grading, and a person may overrule it with a reason.

Nothing here lets a frame towards the granulator without its customer's recorded wish, and no
reason given by a person outweighs that wish or a plastic that is not ours.
"""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from copy import copy
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any, Final
from uuid import UUID

from django.db import models
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from inventory import events
from inventory.errors import BadInput, StaleState
from inventory.events import Draft
from inventory.ledger.rules import ledger, places
from inventory.models import Event, Part, PlaceKind
from inventory.parts import rules as stock
from returns.arriving.queries.massfits import massfit_of
from returns.asking import queries as asking
from returns.bench.queries.frames import plan_of, refuse_older, whereabouts
from returns.grading import sums
from returns.grading.queries.facts import Seen
from returns.grading.rules import record
from returns.letters import rules as letters
from returns.models import Colourway, Finding, Grading, ProductionBatch, ReturnedFrame
from returns.models.catalogue import ComponentKey
from returns.models.filing import Wish
from returns.models.gradings import Outcome
from returns.models.remedies import DefectKey
from returns.story.sums.states import REGRADABLE, FrameState, sources

if TYPE_CHECKING:
    from django.contrib.auth.models import User

MEASURED_UM_MAX: Final = 50_000
REASON_LENGTH_MAX: Final = 200


class Evidence(models.TextChoices):
    """The ways in which a customer can tell us a wish that was not filed with a request."""

    LETTER = "letter", gettext_lazy("in a letter or note")
    EMAIL = "email", gettext_lazy("by email")
    PHONE = "phone", gettext_lazy("on the telephone")
    IN_PERSON = "in_person", gettext_lazy("in person")


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """What the bench saw. `found_sound` is its word that nothing is wrong.

    `colourway` is what the frame turned out to be, where the weigh-in had it wrong or not at all.
    """

    findings: Sequence[Seen] = ()
    polymer: str = sums.PolymerCheck.UNKNOWN
    found_sound: bool = False
    batch: ProductionBatch | None = None
    colourway: Colourway | None = None

    def facts(self) -> list[Any]:
        """What was asked, for the fingerprint and the record."""
        seen = sorted([one.component, one.defect, one.measured_um or 0] for one in self.findings)
        batch = self.batch.code if self.batch else None
        colourway = self.colourway.pk if self.colourway else None
        return [seen, self.polymer, self.found_sound, batch, colourway]


def _graded(event: Event) -> Grading:
    return Grading.objects.get(pk=event.detail["grading"])


def _frame(frame: ReturnedFrame) -> ReturnedFrame:
    return ReturnedFrame.objects.get(pk=frame.pk)


def answer(*, frame: ReturnedFrame, look: Look) -> dict[str, Any]:
    """Return what `grade` would decide and keep of this look, today. Reads only.

    Raises BadInput as `grade` does.
    """
    _refuse_bad_look(look)
    # A copy, so that the page's own frame does not turn into what it may become only once the
    # answer is taken.
    turned_out = copy(frame)
    for name, found in _turned_out(frame, look).items():
        setattr(turned_out, name, found)
    _graded, kept = record.compute(
        frame=turned_out,
        seen=list(look.findings),
        polymer=look.polymer,
        found_sound=look.found_sound,
    )
    return kept


@events.rule(
    "lookover.grade",
    facts=lambda frame, look: [frame.tag, *look.facts()],
    again=_graded,
    aside=("seen_version", "shown"),
)
def grade(
    event: Draft,
    /,
    *,
    key: UUID,
    frame: ReturnedFrame,
    look: Look,
    at: datetime,
    by: User,
    seen_version: int | None = None,
    shown: str = "",
) -> Grading:
    """Decide what to do with a frame from what was seen, the masters, the prices and the stock.

    The frame is carried to the bench or the hold shelf, and the plan's parts are promised to it.
    `seen_version` is the frame's version that the hand looked at, `shown` the fingerprint of the
    answer that it was shown (`record.answer_of`); without them nobody looked at an answer first.

    Raises BadInput for findings that clash, StaleState when work on the frame has begun, when the
    frame has changed since, or when the answer is not the one shown.
    """
    _refuse_bad_look(look)
    _claim(frame, look, seen_version)
    # A new decision may need other parts. What an earlier one promised is given back first, and the
    # new plan's parts are promised at the end.
    stock.release(subject=frame.tag)
    seen = list(look.findings)
    computed, kept = record.compute(
        frame=frame, seen=seen, polymer=look.polymer, found_sound=look.found_sound
    )
    # Computed anew inside the transaction and compared: what a person pressed on must be what is
    # done. Raising rolls back the release above.
    if shown and shown != record.answer_of(kept):
        raise StaleState(
            _(
                "Prices, parts or what was learned have changed since the answer was shown. It "
                "is shown anew: nothing is taken yet."
            )
        )
    # Both columns start alike; only an overruling makes them differ, so the sums stay to be judged.
    grading = Grading.objects.create(
        frame=frame,
        computed=computed.outcome.value,
        decided=computed.outcome.value,
        sums=kept,
        at=at,
        by=by,
    )
    _note(grading, seen)
    _carry_out(key, grading, computed.disposition.frame_state, at, by)
    _say(event, grading)
    return grading


@events.rule(
    "lookover.overrule",
    facts=lambda frame, outcome, reason: [frame.tag, outcome, reason.strip()],
    again=_graded,
    aside=("seen_version",),
)
def overrule(
    event: Draft,
    /,
    *,
    key: UUID,
    frame: ReturnedFrame,
    outcome: str,
    reason: str,
    at: datetime,
    by: User,
    seen_version: int | None = None,
) -> Grading:
    """Decide otherwise than the sums did. What was computed and what was decided are both kept.

    A frame that is not mended goes the way of its customer's wish: "regrind" leads to the post
    for one that is wanted back. Raises BadInput without a reason, without an earlier grading, or
    when regrind is wanted without a wish, or for a plastic that is not known to be ours;
    StaleState when the frame has changed since the version that was seen.
    """
    _claim(frame, None, seen_version)
    earlier = _overrulable(frame, outcome, reason)
    stock.release(subject=frame.tag)
    grading = Grading.objects.create(
        frame=frame,
        computed=earlier.computed,
        decided=outcome,
        overrule_reason=reason.strip(),
        sums=earlier.sums | {"overrules": earlier.pk},
        at=at,
        by=by,
    )
    # The findings are copied to the new grading, for each grading is read with what was seen for
    # it.
    _note(grading, [Seen(f.component, f.defect, f.measured_um) for f in earlier.findings.all()])
    _carry_out(key, grading, _state_after(frame, outcome), at, by)
    _say(event, grading)
    return grading


@events.rule(
    "lookover.record_wish",
    facts=lambda frame, wish, evidence: [frame.tag, wish, evidence],
    again=_frame,
    aside=("seen_version",),
)
def record_wish(
    event: Draft,
    /,
    *,
    key: UUID,
    frame: ReturnedFrame,
    wish: str,
    evidence: str,
    at: datetime,
    by: User,
    seen_version: int | None = None,
) -> ReturnedFrame:
    """Note what the customer wants if the frame cannot be mended, and how we know.

    A frame on its way to be ground whose customer now wants it back is held again, and so is one
    on its way back whose customer now lets it be ground.
    """
    if wish not in Wish.values:
        raise BadInput(_("Choose what the customer wants."), field="wish")
    if evidence not in Evidence.values:
        raise BadInput(_("Say how the customer told us."), field="evidence")
    # Recorded even where the state stays: the wish decides the next time the frame is looked over.
    rows = ReturnedFrame.objects.filter(pk=frame.pk, state__in=REGRADABLE)
    if rows.update(wish=wish) != 1:
        raise StaleState()
    # Asked after the update, which has locked the row: nobody can come in between now.
    refuse_older(frame.tag, seen_version)
    # Held and not carried on by itself: a person looks again before a frame changes its way.
    unwanted = {Wish.POST_BACK: FrameState.TO_STRIP, Wish.REGRIND: FrameState.TO_RETURN}
    if rows.filter(state=unwanted[Wish(wish)]).exists():
        _enter(frame, FrameState.HELD)
        _carry(uuid.uuid5(key, "carry"), frame, PlaceKind.HOLD, at, by)
    event.of(frame.tag, wish=wish, evidence=evidence)
    return _frame(frame)


_STATE_OF: Final = {
    Outcome.REPAIR: FrameState.TO_MEND,
    Outcome.REGRIND: FrameState.TO_STRIP,
    Outcome.HOLD: FrameState.HELD,
}


def _state_after(frame: ReturnedFrame, outcome: str) -> FrameState:
    """Where an overruling leads: what is not mended and wanted back goes back as it is."""
    if outcome == Outcome.REGRIND and frame.wish == Wish.POST_BACK:
        return FrameState.TO_RETURN
    return _STATE_OF[Outcome(outcome)]


def _refuse_bad_look(look: Look) -> None:
    if look.polymer not in set(sums.PolymerCheck):
        raise BadInput(_("Say what the plastic is."), field="polymer")
    for one in look.findings:
        if one.component not in ComponentKey.values or one.defect not in DefectKey.values:
            raise BadInput(_("There is no such part or defect. Choose from the list."))
        if one.measured_um is not None and not 0 <= one.measured_um <= MEASURED_UM_MAX:
            raise BadInput(
                _("A measured length lies between 0 and %(max)s mm.")
                % {"max": MEASURED_UM_MAX // 1000},
                field=f"um_{one.component}_{one.defect}",
            )


def _claim(frame: ReturnedFrame, look: Look | None, seen_version: int | None) -> None:
    """Hold the frame's row while nothing has been done to it; take what it turned out to be."""
    # A write that changes nothing still locks the row on PostgreSQL. SQLite has no SELECT FOR
    # UPDATE; there its one write lock does it.
    changes: dict[str, Any] = {"state": models.F("state")}
    if look is not None:
        changes |= _turned_out(frame, look)
    rows = ReturnedFrame.objects.filter(pk=frame.pk, state__in=REGRADABLE)
    if rows.update(**changes) != 1:
        raise StaleState()
    refuse_older(frame.tag, seen_version)
    asking.refuse_waiting(frame)
    # The update went past the instance, and the sums read the instance.
    frame.refresh_from_db()


def _turned_out(frame: ReturnedFrame, look: Look) -> dict[str, Any]:
    """Model, colour and batch as the look-over has them, where it says so."""
    if frame.is_stranger and look.colourway:
        raise BadInput(
            _("A frame that is not one of ours has no model. Clear one of the two."),
            field="colourway",
        )
    # A batch was moulded in one colourway: the two must agree, or one of them was misread.
    known = look.colourway or frame.colourway
    if look.batch is not None and (frame.is_stranger or known not in (None, look.batch.colourway)):
        raise BadInput(
            _("Batch %(batch)s was moulded as %(colourway)s, and this frame was not.")
            % {"batch": look.batch.code, "colourway": look.batch.colourway},
            field="batch",
        )
    changes: dict[str, Any] = {}
    if look.colourway not in (None, frame.colourway):
        # What the mass says was said of the model thought of before, and does not hold for this
        # one.
        fit = massfit_of(reading=frame.reading, colourway=look.colourway, is_stranger=False)
        changes = {"colourway": look.colourway, "batch": None, "massfit": fit}
    if look.batch is not None:
        changes |= {"batch": look.batch, "colourway": look.batch.colourway}
    return changes


def _overrulable(frame: ReturnedFrame, outcome: str, reason: str) -> Grading:
    if outcome not in Outcome.values:
        raise BadInput(_("Choose repair, regrind or hold."), field="outcome")
    if not reason.strip() or len(reason.strip()) > REASON_LENGTH_MAX:
        raise BadInput(
            _("Say why, in up to %(max)s characters.") % {"max": REASON_LENGTH_MAX}, field="reason"
        )
    earlier = frame.gradings.first()
    if earlier is None:
        raise BadInput(_("Look the frame over first; then the answer can be overruled."))
    # The same outcome may still be wanted when the wish has changed since, for it then leads
    # elsewhere.
    if outcome == earlier.decided and frame.state == _state_after(frame, outcome):
        raise BadInput(_("That is the decision already."), field="outcome")
    if _state_after(frame, outcome) is FrameState.TO_STRIP:
        _refuse_grinding(frame, earlier)
    return earlier


def _refuse_grinding(frame: ReturnedFrame, earlier: Grading) -> None:
    """The limits that no person at the bench can lift."""
    if frame.wish != Wish.REGRIND:
        raise BadInput(
            _("Record the customer's wish first: nothing is ground without one."), field="outcome"
        )
    if frame.is_stranger or earlier.sums["facts"]["polymer"] != sums.PolymerCheck.OURS:
        raise BadInput(
            _("The plastic is not known to be ours, so it never goes into our box."),
            field="outcome",
        )


def _note(grading: Grading, seen: Sequence[Seen]) -> None:
    Finding.objects.bulk_create(
        Finding(
            grading=grading,
            component=one.component,
            defect=one.defect,
            measured_um=one.measured_um,
        )
        for one in seen
    )


def _carry_out(key: UUID, grading: Grading, state: FrameState, at: datetime, by: User) -> None:
    """State, place, promised parts and the customer's letter, as the decision wants them."""
    frame = grading.frame
    _enter(frame, state)
    # Only what is held goes to the shelf: a frame to mend, to strip or to post needs hands next.
    kind = PlaceKind.HOLD if state is FrameState.HELD else PlaceKind.BENCH
    _carry(uuid.uuid5(key, "carry"), frame, kind, at, by)
    if state is FrameState.TO_MEND:
        _promise_parts(grading, at)
    if frame.request is not None:
        letter = "held" if state is FrameState.HELD else "graded"
        letters.enqueue(letter=letter, request=frame.request, frame=frame, at=at)


def _enter(frame: ReturnedFrame, state: FrameState) -> None:
    # The table lets a strip-down be undone and a job be given up into these states too. A look-over
    # does neither.
    allowed = sources(state) & REGRADABLE
    rows = ReturnedFrame.objects.filter(pk=frame.pk, state__in=allowed)
    if rows.update(state=state) != 1:
        raise StaleState()
    frame.state = state


def _carry(key: UUID, frame: ReturnedFrame, kind: PlaceKind, at: datetime, by: User) -> None:
    """Move what is left of the frame to the place where its next step happens."""
    target = places.mass(kind)
    lines = [
        ledger.Line(source, target, mass_mg)
        for source, mass_mg in whereabouts(frame.tag).items()
        # A second look-over often finds the frame there already, and then nothing is to be carried.
        if source != target
    ]
    if lines:
        story = ledger.Story(subject=frame.tag, actor=by)
        ledger.post(key=key, kind="carry", lines=lines, happened_at=at, story=story)


def _promise_parts(grading: Grading, at: datetime) -> None:
    plan = plan_of(grading) or {"parts": {}}
    # Always in the order of the codes: two frames that reserve the same parts lock them in one
    # order and cannot wait for each other.
    for code, pieces in sorted(plan["parts"].items()):
        part = Part.objects.get(code=code)
        stock.reserve(part=part, pieces=pieces, subject=grading.frame.tag, at=at)


def _say(event: Draft, grading: Grading) -> None:
    event.of(
        grading.frame.tag,
        grading=grading.pk,
        computed=str(grading.computed),
        decided=str(grading.decided),
        state=str(grading.frame.state),
    )
