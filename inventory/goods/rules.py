"""A load of goods is weighed as it came, taken apart by streams, washed, dried and boxed.

Every gram leaves the sorting table by a posting: to a box, into a stream, or as what was washed
and dried off. The last is what is left over and never typed, so that each load closes exactly.
"""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Final
from uuid import UUID

from django.utils.translation import gettext as _

from inventory import events
from inventory.errors import BadInput, Conflict, StaleState
from inventory.events import Draft
from inventory.furniture import numbers
from inventory.goods import queries
from inventory.ledger.rules import ledger, places
from inventory.ledger.sums.codes import new_code
from inventory.material.rules.grinding import is_nothing
from inventory.material.rules.material import Weighing
from inventory.material.sums import heat
from inventory.models import (
    Colour,
    GiverClass,
    GoodsKind,
    Load,
    LoadEntry,
    Movement,
    Origin,
    Place,
    PlaceKind,
    Polymer,
    Scale,
    Stream,
    Way,
    Went,
)
from inventory.weighing import rules as weighing

if TYPE_CHECKING:
    from django.contrib.auth.models import User

Act = LoadEntry.Act
NETS_MAX: Final = 4
NOTE_LENGTH_MAX: Final = 120
REASON_LENGTH_MAX: Final = 200
_WASTE: Final = {
    Stream.POLYMER: PlaceKind.FOREIGN,
    Stream.FILM: PlaceKind.FILM,
    Stream.PAPER: PlaceKind.PAPER,
    Stream.METAL: PlaceKind.METAL,
    Stream.DIRT: PlaceKind.DIRT,
    Stream.OTHER: PlaceKind.FOREIGN,
}
_ELSEWHERE: Final = {
    Went.SOLD: PlaceKind.BUYERS,
    Went.GIVEN: PlaceKind.TAKERS,
    Went.KEPT: PlaceKind.KEPT,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Goods:
    """What came in: its kind, the giver's class, how it came, and what was paid, in minor units."""

    kind: str
    giver_class: str
    way: str
    cost_minor: int = 0

    def facts(self) -> list[object]:
        """What was asked, for the fingerprint."""
        return [self.kind, self.giver_class, self.way, self.cost_minor]


@dataclass(frozen=True, slots=True, kw_only=True)
class TakenOut:
    """A stream and where it went; `note` says to whom or which polymer."""

    stream: str
    went: str
    note: str = ""

    def facts(self) -> list[object]:
        """What was asked, for the fingerprint."""
        return [self.stream, self.went, self.note.strip()]


@dataclass(frozen=True, slots=True, kw_only=True)
class Net:
    """What goes into one box, washed and dry: the mass as typed."""

    polymer: Polymer
    colour: Colour
    mass: str

    def facts(self) -> list[object]:
        """What was asked, for the fingerprint."""
        return [self.polymer.code, self.colour.code, self.mass.strip()]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sorted:
    """How a load was finished. `explanation` is needed when more came out than went in."""

    scale: Scale
    nets: Sequence[Net]
    passes: int = 1
    explanation: str = ""

    def facts(self) -> list[object]:
        """What was asked, for the fingerprint."""
        nets = [net.facts() for net in self.nets]
        return [self.scale.pk, nets, self.passes, self.explanation.strip()]


def _again(load: Load) -> Load:
    return Load.objects.get(pk=load.pk)


@events.rule(
    "goods.receive",
    facts=lambda goods, weighing: [*goods.facts(), *weighing.facts()],
    again=lambda event: Load.objects.get(code=event.subject),
)
def receive(
    event: Draft, /, *, key: UUID, goods: Goods, weighing: Weighing, at: datetime, by: User
) -> Load:
    """Weigh a load as it came, soil and labels and all, and put it on the sorting table.

    Raises BadInput for an unknown kind, class or way, or a price for what was not sold to us.
    """
    _refuse_bad_goods(goods)
    reading = weighing.read(at)
    load = Load.objects.create(
        code=_fresh_code(),
        kind=goods.kind,
        giver_class=goods.giver_class,
        way=goods.way,
        cost_minor=goods.cost_minor,
        received_at=at,
    )
    table = places.mass(PlaceKind.SORTING)
    line = ledger.Line(places.mass(PlaceKind.GIVERS), table, reading.mass_mg, reading)
    movement = _posted(key, "receive_goods", [line], at, ledger.Story(load.code, by))
    _told(load, movement, [LoadEntry(act=Act.RECEIVED)])
    event.of(load.code, movement=movement.number)
    return load


@events.rule(
    "goods.take_out",
    facts=lambda load, out, weighing: [load.code, *out.facts(), *weighing.facts()],
    again=_again,
)
def take_out(
    event: Draft,
    /,
    *,
    key: UUID,
    load: Load,
    out: TakenOut,
    weighing: Weighing,
    at: datetime,
    by: User,
) -> Load:
    """Weigh one stream out of a load that is being sorted, and say where it went.

    Raises BadInput for an unknown stream or more than is left, StaleState when it is sorted.
    """
    _refuse_bad_stream(out)
    _hold(load, Load.State.SORTING)
    reading = weighing.read(at)
    left_mg = queries.standing(load).left_mg
    if reading.mass_mg > left_mg:
        raise BadInput(
            _("Only %(left)s of this load are left. Weigh again.")
            % {"left": numbers.mass_words(left_mg)},
            field="mass",
        )
    table = places.mass(PlaceKind.SORTING)
    line = ledger.Line(table, _where(out), reading.mass_mg, reading)
    story = ledger.Story(load.code, by, out.note.strip())
    movement = _posted(key, "sort_goods", [line], at, story)
    _told(load, movement, [_entry(Act.TAKEN_OUT, out)])
    event.of(load.code, movement=movement.number)
    return _again(load)


@events.rule("goods.finish", facts=lambda load, out: [load.code, *out.facts()], again=_again)
def finish(event: Draft, /, *, key: UUID, load: Load, out: Sorted, at: datetime, by: User) -> Load:
    """Box what is washed and dry; the rest of the load was washed and dried off.

    A load may yield nothing. Raises BadInput for a class named twice, or when more came out than
    is left and nobody says why (wet goods weigh more), StaleState when it is sorted already.
    """
    nets = [net for net in out.nets if not is_nothing(net.mass)]
    _refuse_bad_nets(nets, out)
    _hold(load, Load.State.SORTING)
    left_mg = queries.standing(load).left_mg
    lines, entries = _boxed(nets, out, at)
    rest_mg = left_mg - sum(line.quantity for line in lines)
    if rest_mg < 0 and not out.explanation.strip():
        raise BadInput(
            _("%(over)s more came out than went in. Is it dry? Weigh again, or say why.")
            % {"over": numbers.mass_words(-rest_mg)},
            field="explanation",
        )
    table = places.mass(PlaceKind.SORTING)
    if rest_mg > 0:
        lines.append(ledger.Line(table, places.mass(PlaceKind.WASHED), rest_mg))
        entries.append(LoadEntry(act=Act.LOST))
    elif rest_mg < 0:
        lines.append(ledger.Line(places.mass(PlaceKind.UNEXPLAINED), table, -rest_mg))
        entries.append(LoadEntry(act=Act.FOUND))
    movement = None
    if lines:
        story = ledger.Story(
            subject=load.code,
            actor=by,
            reason=out.explanation.strip(),
            cost_minor=load.cost_minor if nets else 0,
            heat=heat.of_passes(out.passes).to_list(),
        )
        movement = _posted(key, "sort_goods", lines, at, story)
        _told(load, movement, entries)
    _advance(load, Load.State.SORTING, state=Load.State.FINISHED, finished_at=at)
    event.of(load.code, movement=movement.number if movement else None)
    return _again(load)


@events.rule(
    "goods.pick_out",
    facts=lambda load, place, out, weighing: [
        load.code,
        place.code,
        *out.facts(),
        *weighing.facts(),
    ],
    again=_again,
)
def pick_out(
    event: Draft,
    /,
    *,
    key: UUID,
    load: Load,
    place: Place,
    out: TakenOut,
    weighing: Weighing,
    at: datetime,
    by: User,
) -> Load:
    """Take out of a box or a lot what turned out to be another polymer, and lay it to its load.

    Raises BadInput for a place that the load never reached, or for more than it put there, and
    NotEnough when so much is not there any more.
    """
    _refuse_bad_stream(out)
    _hold(load, Load.State.FINISHED)
    standing = queries.standing(load)
    if place not in queries.places_of(standing):
        raise BadInput(_("Nothing of this load lies there. Choose its box or lot."), field="place")
    reading = weighing.read(at)
    boxed_mg = _boxed_as(standing, place)
    if reading.mass_mg > boxed_mg:
        raise BadInput(
            _("Only %(mass)s of this load went there. Weigh again.")
            % {"mass": numbers.mass_words(boxed_mg)},
            field="mass",
        )
    line = ledger.Line(place, _where(out), reading.mass_mg, reading)
    story = ledger.Story(load.code, by, out.note.strip())
    movement = _posted(key, "pick_out", [line], at, story)
    _told(load, movement, [_entry(Act.PICKED_OUT, out)])
    event.of(load.code, movement=movement.number)
    return _again(load)


@events.rule(
    "goods.pass_on",
    facts=lambda load, entry, went, note: [load.code, entry.pk, went, note.strip()],
    again=_again,
)
def pass_on(
    event: Draft,
    /,
    *,
    key: UUID,
    load: Load,
    entry: LoadEntry,
    went: str,
    note: str,
    at: datetime,
    by: User,
) -> Load:
    """Say that a stream that was kept has left, whole: sold, given on or wasted.

    Raises StaleState when it is no longer here, BadInput for a place that is none to go to.
    """
    out = TakenOut(stream=entry.stream, went=went, note=note)
    _refuse_bad_stream(out)
    if went == Went.KEPT:
        raise BadInput(_("It is kept already. Say where it went."), field="went")
    _hold(load, load.state)
    if entry not in queries.standing(load).kept:
        raise StaleState()
    line = ledger.Line(places.mass(PlaceKind.KEPT), _where(out), entry.posting.quantity)
    story = ledger.Story(load.code, by, note.strip())
    movement = _posted(key, "pass_on", [line], at, story)
    told = _entry(Act.PASSED_ON, out)
    told.kept_by = entry
    _told(load, movement, [told])
    event.of(load.code, movement=movement.number)
    return _again(load)


@events.rule(
    "goods.undo", facts=lambda load, number, reason: [load.code, number, reason], again=_again
)
def undo(
    event: Draft, /, *, key: UUID, load: Load, number: int, reason: str, at: datetime, by: User
) -> Load:
    """Take back a load's newest movement, which `number` names; the first of all voids the load.

    Raises BadInput without a reason, StaleState when another movement is the newest by now,
    Conflict when the box has been ground since.
    """
    if not 1 <= len(reason.strip()) <= REASON_LENGTH_MAX:
        raise BadInput(_("Say why, in up to 200 characters."), field="reason")
    _hold(load, load.state)
    standing = queries.standing(load)
    if standing.last_movement != number:
        raise StaleState()
    last = [entry for entry in standing.entries if entry.posting.movement.number == number]
    if any(queries.runs_since(e).exists() for e in last if e.act == Act.BOXED):
        raise Conflict(_("What was boxed has been ground. Pick out what was wrong instead."))
    reversal = ledger.reverse(
        key=uuid.uuid5(key, "undo"),
        movement=Movement.objects.get(number=number),
        reason=reason,
        at=at,
        actor=by,
    )
    acts = {entry.act for entry in last}
    if Act.RECEIVED in acts:
        _advance(load, load.state, state=Load.State.VOID, finished_at=None)
    elif acts & {Act.BOXED, Act.LOST, Act.FOUND}:
        _advance(load, load.state, state=Load.State.SORTING, finished_at=None)
    event.of(load.code, movement=number, reversal=reversal.number)
    return _again(load)


def _boxed_as(standing: queries.Standing, place: Place) -> int:
    """Return the milligrams of a load in a place's class that were not picked out again."""
    wanted = (place.polymer_id, place.colour_id)
    boxed = sum(
        net.posting.quantity
        for net in standing.nets
        if (net.posting.target.polymer_id, net.posting.target.colour_id) == wanted
    )
    picked = sum(
        entry.posting.quantity
        for entry in standing.entries
        if entry.act == Act.PICKED_OUT
        and (entry.posting.source.polymer_id, entry.posting.source.colour_id) == wanted
    )
    return boxed - picked


def _boxed(
    nets: Sequence[Net], out: Sorted, at: datetime
) -> tuple[list[ledger.Line], list[LoadEntry]]:
    lines, entries = [], []
    for index, net in enumerate(nets, start=1):
        box = places.box(polymer=net.polymer, colour=net.colour, origin=Origin.FEEDSTOCK)
        reading = weighing.read(scale=out.scale, typed=net.mass, at=at, field=f"mass_{index}")
        table = places.mass(PlaceKind.SORTING)
        lines.append(ledger.Line(table, box, reading.mass_mg, reading))
        entries.append(LoadEntry(act=Act.BOXED))
    return lines, entries


def _where(out: TakenOut) -> Place:
    if out.went == Went.WASTE:
        return places.mass(_WASTE[Stream(out.stream)])
    return places.mass(_ELSEWHERE[Went(out.went)])


def _entry(act: Act, out: TakenOut) -> LoadEntry:
    return LoadEntry(act=act, stream=out.stream, went=out.went, note=out.note.strip())


def _told(load: Load, movement: Movement, entries: Sequence[LoadEntry]) -> None:
    """Write what each posting of a movement was, in its order."""
    postings = movement.postings.order_by("line")
    for posting, entry in zip(postings, entries, strict=True):
        entry.load, entry.posting = load, posting
        entry.save(force_insert=True)


def _hold(load: Load, state: str) -> None:
    """Take the load's row, which must be in a state: two hands at one load come one by one."""
    _advance(load, state, state=state)


def _advance(load: Load, source: str, **changes: object) -> None:
    # Look and change in one UPDATE: of two hands at once, the slower waits and then finds what the
    # faster left. It holds on SQLite too.
    if Load.objects.filter(pk=load.pk, state=source).update(**changes) != 1:
        raise StaleState()


def _posted(
    key: UUID, kind: str, lines: Sequence[ledger.Line], at: datetime, story: ledger.Story
) -> Movement:
    return ledger.post(
        key=uuid.uuid5(key, kind), kind=kind, lines=lines, happened_at=at, story=story
    )


def _fresh_code() -> str:
    while Load.objects.filter(code=(code := new_code("W"))).exists():
        continue
    return code


def _refuse_bad_goods(goods: Goods) -> None:
    if goods.kind not in GoodsKind.offered():
        raise BadInput(_("Choose a kind of goods from the owner's list."), field="kind")
    if goods.giver_class not in GiverClass.values:
        raise BadInput(_("Say from what sort of giver it came."), field="giver_class")
    if goods.way not in Way.values:
        raise BadInput(_("Say how it came."), field="way")
    if goods.cost_minor < 0 or (goods.cost_minor and goods.way != Way.SOLD):
        raise BadInput(_("Only what was sold to us has a price."), field="cost")


def _refuse_bad_stream(out: TakenOut) -> None:
    if out.stream not in Stream.values:
        raise BadInput(_("Say what was taken out."), field="stream")
    if out.went not in Went.values:
        raise BadInput(_("Say where it went."), field="went")
    if len(out.note.strip()) > NOTE_LENGTH_MAX:
        raise BadInput(_("Keep the note to 120 characters."), field="note")
    # Grams that somebody is to get must be told apart from others that are kept.
    if out.went in (Went.KEPT, Went.GIVEN, Went.SOLD) and not out.note.strip():
        raise BadInput(_("Say to whom it goes, or which polymer it is."), field="note")


def _refuse_bad_nets(nets: Sequence[Net], out: Sorted) -> None:
    if len(nets) > NETS_MAX:
        raise BadInput(_("Box up to four classes at once."), field="mass_1")
    if len({(net.polymer.pk, net.colour.pk) for net in nets}) < len(nets):
        raise BadInput(_("A box is named twice. Weigh it once."), field="mass_1")
    # What comes out of used goods is what it is; a blend is made of it by weighing, later.
    if any(net.colour.kind != Colour.Kind.BASE for net in nets):
        raise BadInput(_("Used goods go into the box of a base colour."), field="colour_1")
    if not 0 <= out.passes <= heat.PASSES_MAX:
        raise BadInput(_("Heat passes lie between 0 and 40."), field="passes")
    if len(out.explanation.strip()) > REASON_LENGTH_MAX:
        raise BadInput(_("Say it in up to 200 characters."), field="explanation")
