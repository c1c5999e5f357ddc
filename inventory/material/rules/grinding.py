"""Grind runs: proposed by one person, confirmed at the box by another, then weighed out.

A run takes what lay in the box when it was proposed; what is put in later stays for the next run.
Nothing is posted for a run whose figures are not plausible until somebody has explained them.
"""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any
from uuid import UUID

from django.utils.formats import number_format
from django.utils.translation import gettext as _

from inventory import events
from inventory.errors import BadInput, BoxChanged, Conflict, SecondPersonNeeded, StaleState
from inventory.events import Draft
from inventory.furniture import numbers
from inventory.ledger.rules import ledger, places, scans
from inventory.ledger.sums.codes import new_code
from inventory.material.queries import boxes
from inventory.models import Event, GrindRun, Lot, Place, PlaceKind, Reading, Scale, Workshop
from inventory.weighing import rules as weighing

if TYPE_CHECKING:
    from django.contrib.auth.models import User

State = GrindRun.State
Flow = list[int | None]

_TARGETS = {"dust": PlaceKind.DUST, "purge": PlaceKind.PURGE, "moisture": PlaceKind.MOISTURE}
MINUTES_MAX = 24 * 60


@dataclass(frozen=True, slots=True, kw_only=True)
class GrindOut:
    """What came out of a run, as typed; an empty text or 0 means that there was none.

    `fine_scale` is for dust, purge and moisture when they were not weighed on the flake's scale.
    Melt flow is in mg per 10 minutes, its tolerance likewise.
    """

    scale: Scale
    flake: str
    dust: str = ""
    purge: str = ""
    moisture: str = ""
    minutes: int
    colour_change: bool = False
    fine_scale: Scale | None = None
    melt_flow_mg_per_10min: int | None = None
    melt_flow_tolerance_mg: int | None = None

    def facts(self) -> list[Any]:
        """What was asked, for the fingerprint."""
        fine = self.fine_scale.pk if self.fine_scale else None
        typed = [self.flake, self.dust, self.purge, self.moisture]
        return [self.scale.pk, fine, typed, self.minutes, self.colour_change, self.melt_flow()]

    def melt_flow(self) -> Flow:
        """Return the melt flow and its tolerance, both in mg per 10 minutes."""
        return [self.melt_flow_mg_per_10min, self.melt_flow_tolerance_mg]


def _again(run: GrindRun) -> GrindRun:
    return GrindRun.objects.select_related("box", "lot").get(pk=run.pk)


@events.rule(
    "grinding.propose",
    facts=lambda box: [box.code],
    again=lambda event: GrindRun.objects.get(code=event.subject),
)
def propose(event: Draft, /, *, key: UUID, box: Place, at: datetime, by: User) -> GrindRun:
    """Propose to grind what is in a box now. One box waits for one run at a time.

    Raises BadInput for a place that is no box or is empty, Conflict while a run is open.
    """
    if box.kind != PlaceKind.BOX:
        raise BadInput(_("Only a regrind box can be ground."), field="box")
    _refuse_second_run(box)
    inside = boxes.contents(box)
    if inside.mass_mg < 1:
        raise BadInput(_("This box is empty; there is nothing to grind."), field="box")
    run = GrindRun.objects.create(
        code=_fresh_run_code(),
        box=box,
        box_mg=inside.mass_mg,
        box_movement=inside.last_movement,
        proposed_by=by,
        proposed_at=at,
    )
    event.of(run.code, box=box.code, box_mg=run.box_mg)
    return run


@events.rule(
    "grinding.confirm",
    facts=lambda run, seen_mg: [run.code, seen_mg],
    again=_again,
    aside=["scanned"],
)
def confirm(
    event: Draft,
    /,
    *,
    key: UUID,
    run: GrindRun,
    seen_mg: int,
    scanned: str,
    at: datetime,
    by: User,
) -> GrindRun:
    """Let a second person confirm at the box: `scanned` is its label, `seen_mg` the mass shown.

    Raises SecondPersonNeeded for the proposer, WrongScan for another label, BoxChanged when the
    box is not as proposed.
    """
    if run.proposed_by_id == by.pk:
        raise SecondPersonNeeded()
    scans.require([scanned] if scanned.strip() else [], [run.box])
    inside = boxes.contents(run.box)
    # All three, since the same mass may be other material: something went out and something came
    # in. `seen_mg` proves that the person looked at this figure and not at an older page.
    now = (inside.mass_mg, inside.last_movement, seen_mg)
    if now != (run.box_mg, run.box_movement, run.box_mg):
        raise BoxChanged()
    _advance(run, [State.PROPOSED], state=State.CONFIRMED, confirmed_by=by, confirmed_at=at)
    event.of(run.code, box_mg=run.box_mg)
    return _again(run)


@events.rule("grinding.cancel", facts=lambda run: [run.code], again=_again)
def cancel(event: Draft, /, *, key: UUID, run: GrindRun, at: datetime, by: User) -> GrindRun:
    """Call a run off before anything was ground. A held run has been ground: explain it instead."""
    _advance(run, [State.PROPOSED, State.CONFIRMED], state=State.CANCELLED)
    event.of(run.code)
    return _again(run)


@events.rule("grinding.finish", facts=lambda run, out: [run.code, *out.facts()], again=_again)
def finish(
    event: Draft, /, *, key: UUID, run: GrindRun, out: GrindOut, at: datetime, by: User
) -> GrindRun:
    """Weigh out a confirmed run, or weigh a held one again.

    A loss over the workshop's limit, or more out than in, holds the run: the readings are kept
    and nothing is posted. Otherwise the run is FINISHED and has its lot.
    """
    _refuse_bad_out(out)
    readings = _readings(out, at)
    # Even a plausible run passes through HELD, unseen, for it is one transaction: so `_post` has
    # one state to start from, after a weighing as after an explanation.
    held_for = implausible(run.box_mg, _masses(readings), colour_change=out.colour_change)
    _advance(
        run,
        [State.CONFIRMED, State.HELD],
        state=State.HELD,
        held_for=held_for,
        readings={name: reading.pk for name, reading in readings.items()},
        minutes=out.minutes,
        colour_change=out.colour_change,
    )
    # The melt flow is kept in the event, because a held run has no lot yet to write it to.
    event.of(run.code, held=bool(held_for), melt_flow=out.melt_flow())
    return _again(run) if held_for else _post(key, _again(run), out.melt_flow(), at, by)


@events.rule(
    "grinding.explain", facts=lambda run, explanation: [run.code, explanation.strip()], again=_again
)
def explain(
    event: Draft, /, *, key: UUID, run: GrindRun, explanation: str, at: datetime, by: User
) -> GrindRun:
    """Take somebody's explanation of a held run's figures; then the run is posted as weighed."""
    if not 1 <= len(explanation.strip()) <= 200:
        raise BadInput(
            _("Say in up to 200 characters where the difference comes from."), field="explanation"
        )
    _advance(run, [State.HELD], explanation=explanation.strip())
    event.of(run.code)
    # The newest: a held run may have been weighed again, and the last weighing is the one posted.
    data = Event.objects.filter(name="grinding.finish", subject=run.code).order_by("-pk")[0]
    return _post(key, _again(run), data.detail["melt_flow"], at, by)


def implausible(box_mg: int, out_mg: Mapping[str, int], *, colour_change: bool) -> str:
    """Return why a run's figures cannot be taken as they are; an empty text when they can.

    Lost is what is neither flake nor, at a colour change, the purge weighed for it.
    """
    if sum(out_mg.values()) > box_mg:
        return _("More came out than was in the box.")
    lost_mg = box_mg - out_mg.get("flake", 0)
    if colour_change:
        lost_mg -= out_mg.get("purge", 0)
    limit_ppm = Workshop.the().grind_loss_limit_ppm
    # Multiplied out, so that no division rounds: a loss of exactly the limit still passes.
    if lost_mg * 1_000_000 <= limit_ppm * box_mg:
        return ""
    return _("%(lost)s of %(box)s were lost; the limit is %(limit)s %%.") % {
        "lost": numbers.mass_words(lost_mg),
        "box": numbers.mass_words(box_mg),
        "limit": number_format(f"{limit_ppm / 10_000:g}"),
    }


def _refuse_bad_out(out: GrindOut) -> None:
    if not 1 <= out.minutes <= MINUTES_MAX:
        raise BadInput(_("Write the minutes that the run took, from 1 to 1440."), field="minutes")
    if is_nothing(out.flake):
        raise BadInput(_("Weigh the flake that came out."), field="flake")
    if any(figure is not None and not 0 <= figure <= 1_000_000 for figure in out.melt_flow()):
        raise BadInput(
            _("The melt flow lies between 0 and 1000 g in 10 minutes."),
            field="melt_flow_mg_per_10min",
        )


def is_nothing(typed: str) -> bool:
    """Return whether a typed mass means none: left empty, or zero in any spelling."""
    # What a zero can be spelt with, once the unit is off; any other sign makes a mass or a mistake
    # of it, and both are for the parser to judge.
    return not set(typed.strip().lower().removesuffix("mg").removesuffix("kg")) - set("0., g")


def _readings(out: GrindOut, at: datetime) -> dict[str, Reading]:
    fine = out.fine_scale or out.scale
    wanted = [
        ("flake", out.scale, out.flake),
        ("dust", fine, out.dust),
        ("purge", fine, out.purge),
        ("moisture", fine, out.moisture),
    ]
    return {
        name: weighing.read(scale=scale, typed=typed, at=at, field=name)
        for name, scale, typed in wanted
        if not is_nothing(typed)
    }


def _masses(readings: Mapping[str, Reading]) -> dict[str, int]:
    return {name: reading.mass_mg for name, reading in readings.items()}


def _post(key: UUID, run: GrindRun, flow: Flow, at: datetime, by: User) -> GrindRun:
    readings = {name: Reading.objects.get(pk=pk) for name, pk in run.readings.items()}
    lot = _made_lot(run, flow, at)
    ledger.post(
        # The key itself stands in the event; derived from it, the movement's key is the same in a
        # repeat.
        key=uuid.uuid5(key, "grind"),
        kind="grind",
        lines=_lines(run, lot, readings),
        happened_at=at,
        story=ledger.Story(
            subject=run.code,
            actor=by,
            reason=run.explanation,
            cost_minor=Workshop.the().labour_minor_per_hour * run.minutes // 60,
        ),
    )
    _advance(run, [State.HELD], state=State.FINISHED, finished_at=at, lot=lot)
    return _again(run)


def _lines(run: GrindRun, lot: Lot, readings: Mapping[str, Reading]) -> list[ledger.Line]:
    flake = readings["flake"]
    lines = [ledger.Line(run.box, places.of_lot(lot), flake.mass_mg, flake)]
    for name, kind in _TARGETS.items():
        if name in readings:
            reading = readings[name]
            lines.append(ledger.Line(run.box, places.mass(kind), reading.mass_mg, reading))
    # Whatever was not weighed out, or was too much, is posted as a difference without a reading:
    # mass is conserved in the books even where a scale or a hand was wrong.
    rest_mg = run.box_mg - sum(reading.mass_mg for reading in readings.values())
    difference = places.mass(PlaceKind.UNEXPLAINED)
    if rest_mg > 0:
        lines.append(ledger.Line(run.box, difference, rest_mg))
    elif rest_mg < 0:
        lines.append(ledger.Line(difference, run.box, -rest_mg))
    return lines


def _made_lot(run: GrindRun, flow: Flow, at: datetime) -> Lot:
    """Make the run's lot. Grinding is no melt: it has the heat passes of what lay in the box."""
    # Not the box as it is now: what was put in after the proposal is not in this lot.
    inside = boxes.contents(run.box, up_to=run.box_movement)
    box = run.box
    # The database demands both of a box.
    assert box.polymer is not None  # noqa: S101
    assert box.colour is not None  # noqa: S101
    melt_flow, tolerance = flow
    return Lot.objects.create(
        code=fresh_lot_code(),
        polymer=box.polymer,
        colour=box.colour,
        origin=box.origin,
        heat=inside.heat_or_least.to_list(),
        melt_flow_mg_per_10min=melt_flow,
        melt_flow_tolerance_mg=tolerance,
        made_at=at,
    )


def fresh_lot_code() -> str:
    """Return a lot code that no lot has yet."""
    # A clash is one in billions; should two hands draw the same at once, the unique code refuses
    # one.
    while Lot.objects.filter(code=(code := new_code("L"))).exists():
        continue
    return code


def _fresh_run_code() -> str:
    while GrindRun.objects.filter(code=(code := new_code("G"))).exists():
        continue
    return code


def _refuse_second_run(box: Place) -> None:
    waiting = boxes.open_run(box)
    if waiting is not None:
        raise Conflict(
            _("Run %(run)s is open for this box. Finish or cancel it first.")
            % {"run": waiting.code}
        )


def _advance(run: GrindRun, sources: list[GrindRun.State], **changes: Any) -> None:
    # Look and change in one UPDATE: of two hands that advance a run at once, one changes a row, and
    # the other's count of 0 says that it came too late. It holds on SQLite too.
    rows = GrindRun.objects.filter(pk=run.pk, state__in=sources)
    if rows.update(**changes) != 1:
        raise StaleState()
