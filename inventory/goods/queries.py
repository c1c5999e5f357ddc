"""What a load of goods weighed, what was taken out of it, and what its kind yields. Reads only."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from django.db.models import QuerySet

from inventory.goods import sums
from inventory.goods.sums import Share
from inventory.models import GoodsKind, GrindRun, Load, LoadEntry, Place

Act = LoadEntry.Act
LOADS_MAX = 200


@dataclass(frozen=True, slots=True)
class Standing:
    """A load with the entries that stand, in order; what was taken back is left out. In mg."""

    load: Load
    entries: tuple[LoadEntry, ...]

    def total_mg(self, *acts: Act) -> int:
        """Sum the mass of the entries of some acts."""
        return sum(entry.posting.quantity for entry in self.entries if entry.act in acts)

    @property
    def gross_mg(self) -> int:
        return self.total_mg(Act.RECEIVED)

    @property
    def taken_out_mg(self) -> int:
        return self.total_mg(Act.TAKEN_OUT)

    @property
    def boxed_mg(self) -> int:
        return self.total_mg(Act.BOXED)

    @property
    def lost_mg(self) -> int:
        """Washed and dried off, less what weighed more than was booked."""
        return self.total_mg(Act.LOST) - self.total_mg(Act.FOUND)

    @property
    def over_mg(self) -> int:
        """What weighed more in the end than was booked; 0 as a rule."""
        return max(0, -self.lost_mg)

    @property
    def left_mg(self) -> int:
        """What still lies on the sorting table."""
        return self.gross_mg - self.taken_out_mg - self.boxed_mg - self.lost_mg

    @property
    def streams(self) -> tuple[LoadEntry, ...]:
        """What was taken out, at the sorting or later, each once and as it stands now."""
        passed = {entry.kept_by_id for entry in self.entries if entry.act == Act.PASSED_ON}
        acts = (Act.TAKEN_OUT, Act.PICKED_OUT, Act.PASSED_ON)
        return tuple(e for e in self.entries if e.act in acts and e.pk not in passed)

    @property
    def kept(self) -> tuple[LoadEntry, ...]:
        """What is kept for somebody and still here."""
        return tuple(entry for entry in self.streams if entry.went == "kept")

    @property
    def nets(self) -> tuple[LoadEntry, ...]:
        return tuple(entry for entry in self.entries if entry.act == Act.BOXED)

    @property
    def last_movement(self) -> int | None:
        """The number of the newest movement that stands; None for a load that was taken back."""
        return max((entry.posting.movement.number for entry in self.entries), default=None)


def standing(load: Load) -> Standing:
    """Return a load as it stands."""
    return Standing(load, tuple(_entries([load.pk])))


def listed(loads: Iterable[Load]) -> list[Standing]:
    """Return several loads as they stand, in one question for all their entries."""
    rows = list(loads)
    found: dict[int, list[LoadEntry]] = {load.pk: [] for load in rows}
    for entry in _entries(found):
        found[entry.load_id].append(entry)
    return [Standing(load, tuple(found[load.pk])) for load in rows]


def latest() -> list[Standing]:
    """Return the newest loads, without those that were taken back."""
    return listed(Load.objects.exclude(state=Load.State.VOID)[:LOADS_MAX])


def _entries(loads: Iterable[int]) -> QuerySet[LoadEntry]:
    rows = LoadEntry.objects.filter(load__in=list(loads), posting__movement__reversed_by=None)
    return rows.select_related(
        "posting__movement",
        "posting__reading",
        "posting__source__lot",
        "posting__target__polymer",
        "posting__target__colour",
    ).order_by("pk")


@dataclass(frozen=True, slots=True)
class Yield:
    """What loads of one kind came to: shares of their gross mass."""

    kind: str
    name: str
    gross_mg: int
    boxed: Share
    taken_out: Share
    lost: Share
    streams: Mapping[str, Share]


def yields(loads: Sequence[Standing] | None = None) -> list[Yield]:
    """Return by kind what the sorted loads yielded, the kind with most loads first."""
    sorted_ones = Load.objects.filter(state=Load.State.FINISHED)[:LOADS_MAX]
    done = loads if loads is not None else listed(sorted_ones)
    by_kind: dict[str, list[Standing]] = {}
    for one in done:
        if one.load.state == Load.State.FINISHED:
            by_kind.setdefault(one.load.kind, []).append(one)
    names = GoodsKind.names()
    found = [_yield(kind, names.get(kind, kind), several) for kind, several in by_kind.items()]
    return sorted(found, key=lambda row: (-row.boxed.loads, row.name))


def _yield(kind: str, name: str, loads: list[Standing]) -> Yield:
    def share(part: Sequence[int]) -> Share:
        pairs = [(max(0, mg), one.gross_mg) for mg, one in zip(part, loads, strict=True)]
        found = sums.share(pairs)
        # There is a load of the kind, or the kind would not be here.
        assert found is not None  # noqa: S101
        return found

    streams = sorted({entry.stream for one in loads for entry in one.entries if entry.stream})
    return Yield(
        kind=kind,
        name=name,
        gross_mg=sum(one.gross_mg for one in loads),
        boxed=share([one.boxed_mg for one in loads]),
        taken_out=share([one.taken_out_mg for one in loads]),
        lost=share([one.lost_mg for one in loads]),
        streams={kind: share([_of_stream(one, kind) for one in loads]) for kind in streams},
    )


def _of_stream(one: Standing, stream: str) -> int:
    return sum(
        entry.posting.quantity
        for entry in one.entries
        if entry.act == Act.TAKEN_OUT and entry.stream == stream
    )


def runs_since(net: LoadEntry) -> QuerySet[GrindRun]:
    """Return the runs that ground the box of a net after the net had come into it.

    A box mixes what lies in it, so that its runs had a part of the load and not the load alone.
    """
    number = net.posting.movement.number
    runs = GrindRun.objects.filter(
        box=net.posting.target, state=GrindRun.State.FINISHED, box_movement__gte=number
    )
    return runs.select_related("lot").order_by("finished_at")


def places_of(one: Standing) -> list[Place]:
    """Return where material of a load may lie now: its boxes, and the lots ground from them."""
    boxes = {net.posting.target_id: net.posting.target for net in one.nets}
    lots = [run.lot.place for net in one.nets for run in runs_since(net) if run.lot]
    return [*boxes.values(), *{lot.pk: lot for lot in lots}.values()]
