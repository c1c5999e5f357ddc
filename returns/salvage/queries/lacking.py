"""What frames on hold or waiting to be mended lack, and what waiting donors could give. Reads only.

Pieces in the bin are dealt out in the order of the promised days, so that two frames never count
on the same one. The number of queries does not grow with the frames.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from inventory.models import Balance, Part, PlaceKind, Reservation
from inventory.models.places import ReservationState
from returns.catalogue import queries as catalogue
from returns.catalogue.queries import Made
from returns.grading.queries.facts import PIECE_OF
from returns.models import Component, Grading, PartPromise, ReturnedFrame
from returns.models.catalogue import ComponentKind
from returns.models.gradings import Outcome
from returns.story.sums.states import FrameState

WAITING: Final = (FrameState.HELD, FrameState.TO_MEND)


@dataclass(frozen=True, slots=True)
class Lack:
    """One piece that a frame lacks. `made` is None when no component of it is that part."""

    frame: ReturnedFrame
    component: str
    part: str
    made: Made | None


@dataclass(frozen=True, slots=True)
class Gift:
    """A sound component with a spare part, on a frame that waits to be stripped."""

    donor: ReturnedFrame
    piece: Component
    look: str | None

    @property
    def key(self) -> str:
        return f"{self.donor.tag}/{self.piece.key}"


@dataclass(frozen=True, slots=True)
class Shortage:
    """Everything that is lacking now, and the held frames whose parts have come since."""

    lacks: tuple[Lack, ...]
    ready: tuple[ReturnedFrame, ...]


Bills = Mapping[int, Mapping[str, Made]]


def shortage() -> Shortage:
    """Look at every frame that waits for parts, the earliest promised day first."""
    frames = list(_frames().filter(state__in=WAITING, colourway__isnull=False))
    plans = {pk: plan for pk, grading in latest(frames).items() if (plan := _waited_for(grading))}
    waiting = [frame for frame in frames if frame.pk in plans]
    bills = bills_of(waiting)
    # The bins are dealt out as the frames pass, so their order is the order of their promises.
    bins = _Bins.now()
    lacks: list[Lack] = []
    ready: list[ReturnedFrame] = []
    for frame in waiting:
        wanted = bins.lacking(frame, plans[frame.pk])
        lacks += _lacks(frame, plans[frame.pk], wanted, bills)
        if not wanted and frame.state == FrameState.HELD:
            ready.append(frame)
    return Shortage(tuple(lacks), tuple(ready))


def gifts() -> list[Gift]:
    """Return what the frames that wait to be stripped could give, without what is promised."""
    donors = list(
        _frames().filter(state=FrameState.TO_STRIP, colourway__isnull=False, is_stranger=False)
    )
    taken = set(open_promises().values_list("donor", "component"))
    found = sound_pieces(donors)
    return [gift for gift in found if (gift.donor.pk, gift.piece.key) not in taken]


def open_promises() -> Any:
    """Return promises that still hold: the donor waits to be stripped, the frame for its part."""
    return PartPromise.objects.filter(
        state=PartPromise.State.OPEN, donor__state=FrameState.TO_STRIP, frame__state__in=WAITING
    ).select_related("donor", "frame", "part")


def sound_pieces(donors: Sequence[ReturnedFrame]) -> list[Gift]:
    """Return components with a spare part that no finding of the donor's latest grading touches.

    Lenses that the customer wants back are nobody's to give.
    """
    gradings = latest(donors)
    bills = bills_of(donors)
    return [
        Gift(donor, made.piece, made.look)
        for donor in donors
        if donor.colourway is not None and donor.pk in gradings
        for key, made in bills[donor.colourway.pk].items()
        if made.piece.part is not None
        and key not in _touched(gradings[donor.pk])
        and not (donor.lenses_back and made.piece.kind == ComponentKind.LENS)
    ]


def latest(frames: Iterable[ReturnedFrame]) -> dict[int, Grading]:
    """Return the latest grading of each frame that has one, with its findings."""
    rows = Grading.objects.filter(frame__in=[frame.pk for frame in frames])
    ordered = rows.order_by("at", "pk").prefetch_related("findings")
    # In rising order of time, so that of several gradings the last one stays.
    return {grading.frame_id: grading for grading in ordered}


def bills_of(frames: Iterable[ReturnedFrame]) -> Bills:
    """Return the bills of the frames' colourways, by colourway and component."""
    return catalogue.bills_of(frame.colourway for frame in frames if frame.colourway is not None)


def pieces_lacking(plan: Mapping[str, Any], wanted: Mapping[str, int]) -> list[tuple[str, str]]:
    """Return component and part code of each lacking piece: the plan's last go without first."""
    found: list[tuple[str, str]] = []
    for code, count in wanted.items():
        places = [
            (entry["component"], code)
            for entry in plan["remedies"]
            for _piece in range(entry["parts"].get(code, 0))
        ]
        found += places[max(0, len(places) - count) :]
    return found


def _frames() -> Any:
    rows = ReturnedFrame.objects.select_related(
        "colourway__model", "colourway__colour", "colourway__polymer", "batch"
    )
    return rows.order_by("promised_by", "weighed_at", "tag")


def _waited_for(grading: Grading) -> dict[str, Any] | None:
    """Return the plan of a frame that is to be mended, or is held because parts were missing."""
    plan: dict[str, Any] | None = grading.sums.get("plan")
    if not plan or not plan.get("parts"):
        return None
    is_held = grading.decided == Outcome.HOLD and plan.get("missing")
    return plan if is_held or grading.decided == Outcome.REPAIR else None


def _touched(grading: Grading) -> set[str]:
    found = {finding.component for finding in grading.findings.all()}
    return found | {PIECE_OF.get(component, component) for component in found}


def _lacks(
    frame: ReturnedFrame, plan: Mapping[str, Any], wanted: Mapping[str, int], bills: Bills
) -> list[Lack]:
    bill = bills[frame.colourway.pk] if frame.colourway else {}
    return [
        Lack(frame, component, code, made_if(bill.get(component), code))
        for component, code in pieces_lacking(plan, wanted)
    ]


def made_if(made: Made | None, code: str) -> Made | None:
    """Return the component, provided that this part is its own spare part."""
    part = made.piece.part if made is not None else None
    return made if part is not None and part.code == code else None


@dataclass(slots=True)
class _Bins:
    """Free pieces by part code, and by frame and part what a promise really covers.

    When a count found fewer pieces than are promised, the earlier promises are covered first.
    """

    free: dict[str, int]
    covered: dict[tuple[str, str], int]

    @classmethod
    def now(cls) -> _Bins:
        rows = Balance.objects.filter(place__kind=PlaceKind.BIN, place__part__isnull=False)
        free = dict.fromkeys(Part.objects.values_list("code", flat=True), 0)
        free |= {code: n for code, n in rows.values_list("place__part__code", "quantity") if code}
        covered: dict[tuple[str, str], int] = {}
        promised = Reservation.objects.filter(state=ReservationState.OPEN)
        for code, subject, pieces in promised.order_by("made_at", "pk").values_list(
            "part__code", "subject", "pieces"
        ):
            # In the order in which they were made: when a count leaves too few, the latest promise
            # goes short.
            there = min(pieces, free[code])
            covered[(subject, code)] = there
            free[code] -= there
        return cls(free, covered)

    def lacking(self, frame: ReturnedFrame, plan: Mapping[str, Any]) -> dict[str, int]:
        """Return part code to pieces that the plan lacks; free pieces are dealt out to it."""
        wanted: dict[str, int] = {}
        for code, pieces in sorted(plan["parts"].items()):
            short = pieces - self.covered.get((frame.tag, code), 0)
            dealt = min(max(short, 0), self.free.get(code, 0))
            self.free[code] = self.free.get(code, 0) - dealt
            if short > dealt:
                wanted[code] = short - dealt
        return wanted
