"""The month's masses that were weighed a second time, as legs between balances. Reads only.

A balance is opened by weighings and shut by later, independent ones. Only three actions shut one:

1. A frame leaves: its weigh-in stands against its parts at the strip-down, or its weigh-out.
   All frames that left in the month form one balance; those with a leg that nobody weighed (parts
   fitted at their nominal mass, lenses kept back) form another, which can only be estimated.
2. A box is ground: everything weighed into it since it was last empty stands against flake,
   dust, purge and moisture. A run covers what lay there when it was proposed.
3. A box, a lot or the salvage bin is counted: the counted mass ends one balance and begins the
   next.

Shelves and bench are no balances of their own, for nobody weighs a frame that is carried; nor is
a month's opening or closing stock, which is only what the same readings have left. Count
differences are no flow at all: they are the gaps that the ledger took up, and are tested here.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from django.db.models import Min, Q, QuerySet

from inventory.ledger.queries import balances
from inventory.models import GrindRun, Place, PlaceKind, Posting, Unit
from inventory.weighing.queries import readings
from inventory.weighing.sums.weighing import EDITION, Measured

HOUSE = frozenset({PlaceKind.ARRIVALS, PlaceKind.HOLD, PlaceKind.BENCH})
COUNTED = frozenset({PlaceKind.BOX, PlaceKind.LOT, PlaceKind.SALVAGE})
LEAVING = ("strip_down", "post_frame")
SHUTTING = ("grind", "count_mass")
OUTSIDE = ""
FRAMES = "frames"
FRAMES_IN_PART = "frames-in-part"


@dataclass(frozen=True, slots=True)
class Node:
    """One balance. `place` is None for frames; `ended_by` is the movement that shut it."""

    key: str
    place: Place | None = None
    ended_by: int | None = None
    counted: bool = False


@dataclass(frozen=True, slots=True)
class Leg:
    """One mass on its way between two balances; `measured` is None when nobody weighed it.

    `edition` is that of the model of a scale by which its reading's uncertainty was worked out.
    """

    source: str
    target: str
    kind: str
    to: str
    mass_mg: int
    measured: Measured | None
    movement: int
    subject: str
    scale: str
    edition: int = EDITION


@dataclass(frozen=True, slots=True)
class Found:
    """The month's balances and every leg between them."""

    nodes: Mapping[str, Node]
    legs: tuple[Leg, ...]


@dataclass(frozen=True, slots=True)
class _Cut:
    """Where a place's balance ends: everything up to movement `number` belongs to it."""

    number: int
    posting: Posting
    in_month: bool

    @property
    def movement(self) -> int:
        return self.posting.movement.number

    @property
    def is_count(self) -> bool:
        return self.posting.movement.kind == "count_mass"


def of_month(label: str) -> Found:
    """Return every balance that was shut in a month, from the books as they stood at its end.

    Later months are never looked at, so a closed month gives the same answer for ever.
    """
    rows = _standing(label)
    cuts = _cuts(rows, label)
    frames, lost = _frame_balances(rows, label)
    nodes = {node.key: node for node in _place_nodes(cuts)}
    nodes |= {key: Node(key) for key in set(frames.group.values())}
    # By id, since a strip-down into a box is a posting of the frame and of the box; it is one leg.
    seen = {posting.pk: posting for posting in frames.postings}
    seen |= {posting.pk: posting for posting in _of_places(rows, cuts)}
    legs = [*_legs(seen.values(), frames, cuts), *_counts(rows, cuts), *lost]
    return Found(nodes, tuple(legs))


@dataclass(frozen=True, slots=True)
class _Frames:
    """Frames that left in the month: the movement that each left by, and its balance."""

    left_by: Mapping[str, int]
    group: Mapping[str, str]
    postings: tuple[Posting, ...]

    def node(self, posting: Posting) -> str:
        subject = posting.movement.subject
        if posting.movement.number > self.left_by.get(subject, 0):
            return OUTSIDE
        return self.group[subject]


def _standing(label: str) -> QuerySet[Posting]:
    """Return mass postings up to a month, without reversals and without what they reversed."""
    # Only what was reversed by then: a reversal in a later month must not change this one's answer.
    rows = Posting.objects.filter(
        movement__month__lte=label, movement__reverses=None, source__unit=Unit.MILLIGRAM
    ).exclude(movement__reversed_by__month__lte=label)
    ordered = rows.order_by("movement__number", "line")
    material = ("lot", "polymer", "colour")
    ends = [f"{end}__{name}" for end in ("source", "target") for name in material]
    return ordered.select_related("movement", "source", "target", "reading__scale", *ends)


def _frame_balances(rows: QuerySet[Posting], label: str) -> tuple[_Frames, list[Leg]]:
    leaving = rows.filter(movement__kind__in=LEAVING, source__kind__in=HOUSE).exclude(
        Q(target__kind=PlaceKind.UNEXPLAINED) | Q(movement__subject="")
    )
    subjects = leaving.filter(movement__month=label).order_by().values("movement__subject")
    firsts = leaving.order_by().filter(movement__subject__in=subjects)
    left_by = dict(
        firsts.values("movement__subject")
        .annotate(first=Min("movement__number"))
        .values_list("movement__subject", "first")
    )
    now = set(leaving.filter(movement__month=label).values_list("movement__number", flat=True))
    # A frame that left in an earlier month and again in this one, with its lenses say, was balanced
    # then.
    left_by = {subject: number for subject, number in left_by.items() if number in now}
    postings = tuple(
        posting
        for posting in rows.filter(movement__subject__in=subjects)
        if posting.movement.number <= left_by.get(posting.movement.subject, 0)
    )
    rest = _rest(postings)
    partly = {p.movement.subject for p in postings if _crosses(p) and _measured(p) is None}
    partly |= {subject for subject, mass_mg in rest.items() if mass_mg}
    group = {subject: FRAMES_IN_PART if subject in partly else FRAMES for subject in left_by}
    kept = [_kept(subject, left_by[subject], rest[subject]) for subject in left_by if rest[subject]]
    return _Frames(left_by, group, postings), kept


def _kept(subject: str, number: int, mass_mg: int) -> Leg:
    """Return what stayed behind under the frame's tag when it left, which no posting weighed."""
    to = PlaceKind.WEARERS
    return Leg(FRAMES_IN_PART, OUTSIDE, "post_frame", to, mass_mg, None, number, subject, "")


def _rest(postings: Iterable[Posting]) -> dict[str, int]:
    """Return what each frame's movements left in the house, such as lenses to be posted later."""
    rest: dict[str, int] = {}
    for posting in postings:
        change = (posting.target.kind in HOUSE) - (posting.source.kind in HOUSE)
        subject = posting.movement.subject
        rest[subject] = rest.get(subject, 0) + change * posting.quantity
    return rest


def _crosses(posting: Posting) -> bool:
    """Return whether a posting is a flow into or out of the house."""
    inside = (posting.source.kind in HOUSE) != (posting.target.kind in HOUSE)
    return inside and not _is_gap(posting)


def _is_gap(posting: Posting) -> bool:
    """Return whether a posting puts the books right: a count or a count difference.

    Opening stock also comes from the place for differences, but it is a flow.
    """
    kind = posting.movement.kind
    ends = (posting.source.kind, posting.target.kind)
    return kind == "count_mass" or (PlaceKind.UNEXPLAINED in ends and kind != "opening")


def _measured(posting: Posting) -> Measured | None:
    """Return the posting's mass with its uncertainty, where its reading shows that very mass."""
    reading = posting.reading
    # A reading may stand beside a difference, as what was found there: then it is not its mass.
    if reading is None or reading.mass_mg != posting.quantity:
        return None
    return readings.measured(reading)


def _cuts(rows: QuerySet[Posting], label: str) -> dict[int, list[_Cut]]:
    """Return all cuts, in the books' order, of each place with a balance shut in the month."""
    shutting = rows.filter(movement__kind__in=SHUTTING)
    found: dict[int, dict[int, _Cut]] = {}
    runs = dict(GrindRun.objects.values_list("code", "box_movement"))
    for posting in shutting:
        place = posting.source if posting.source.kind in COUNTED else posting.target
        if posting.movement.kind == "grind" and posting.source.kind != PlaceKind.BOX:
            continue
        movement = posting.movement
        last = movement.number
        if movement.kind == "grind":
            # A run covers what lay in the box when it was proposed: what was put in between the
            # proposal and the grinding belongs to the next balance.
            last = runs.get(movement.subject, movement.number - 1)
        cut = _Cut(last, posting, movement.month == label)
        found.setdefault(place.pk, {}).setdefault(movement.number, cut)
    return {
        pk: sorted(cuts.values(), key=lambda cut: (cut.number, cut.movement))
        for pk, cuts in found.items()
        if any(cut.in_month for cut in cuts.values())
    }


def _place_of(cut: _Cut) -> Place:
    source: Place = cut.posting.source
    return source if source.kind in COUNTED else cut.posting.target


def _key(cut: _Cut) -> str:
    return f"{_place_of(cut).code}#{cut.movement}" if cut.in_month else OUTSIDE


def _place_nodes(cuts: Mapping[int, list[_Cut]]) -> Iterator[Node]:
    for row in cuts.values():
        for cut in row:
            if cut.in_month:
                yield Node(_key(cut), _place_of(cut), cut.movement, cut.is_count)


def _of_places(rows: QuerySet[Posting], cuts: Mapping[int, list[_Cut]]) -> Iterator[Posting]:
    """Yield the postings of each place since the last cut before the month."""
    for pk, row in cuts.items():
        first = next(index for index, cut in enumerate(row) if cut.in_month)
        start = row[first - 1].number if first else 0
        last = max(cut.movement for cut in row)
        touching = rows.filter(Q(source=pk) | Q(target=pk))
        yield from touching.filter(movement__number__gt=start, movement__number__lte=last)


def _legs(
    postings: Iterable[Posting], frames: _Frames, cuts: Mapping[int, list[_Cut]]
) -> Iterator[Leg]:
    for posting in postings:
        source = _node(posting, posting.source, frames, cuts)
        target = _node(posting, posting.target, frames, cuts)
        if source != target and not _is_gap(posting):
            yield _leg(posting, source, target)


def _leg(posting: Posting, source: str, target: str) -> Leg:
    movement, reading = posting.movement, posting.reading
    return Leg(
        source,
        target,
        movement.kind,
        posting.target.kind,
        posting.quantity,
        _measured(posting),
        movement.number,
        movement.subject,
        reading.scale.name if reading else "",
        reading.edition if reading else EDITION,
    )


def _node(posting: Posting, place: Place, frames: _Frames, cuts: Mapping[int, list[_Cut]]) -> str:
    if place.kind in HOUSE:
        return frames.node(posting)
    row = cuts.get(place.pk)
    if row is None:
        return OUTSIDE
    # The postings of the movement that shuts a balance belong to it, though a run's number is later
    # than the cut.
    own = [cut for cut in row if cut.movement == posting.movement.number]
    if own:
        return _key(own[0])
    # The first cut at or after the posting: one at the cut itself still belongs to it.
    index = bisect_left([cut.number for cut in row], posting.movement.number)
    return _key(row[index]) if index < len(row) else OUTSIDE


def _counts(rows: QuerySet[Posting], cuts: Mapping[int, list[_Cut]]) -> Iterator[Leg]:
    """Yield what each count found: out of the balance that it ends, into the one that it begins."""
    for row in cuts.values():
        for index, cut in enumerate(row):
            if cut.is_count:
                after = _key(row[index + 1]) if index + 1 < len(row) else OUTSIDE
                yield from _count(rows, cut, after)


def _count(rows: QuerySet[Posting], cut: _Cut, after: str) -> Iterator[Leg]:
    reading, movement, place = cut.posting.reading, cut.posting.movement, _place_of(cut)
    measured = readings.measured(reading) if reading else None
    # A count of nothing has no reading: what was booked up to it then stands for what was there.
    if measured is None:
        booked = balances.net(rows.filter(movement__number__lte=movement.number))
        mass_mg = booked.get(place.pk, 0)
    else:
        mass_mg = measured.mass_mg
    if mass_mg and _key(cut) != after:
        scale = reading.scale.name if reading else ""
        yield Leg(
            _key(cut),
            after,
            "count_mass",
            place.kind,
            mass_mg,
            measured,
            movement.number,
            movement.subject,
            scale,
            reading.edition if reading else EDITION,
        )
