"""Which waiting donor could help which frame, and what such matching would have saved. Reads only.

A visible part must be of the frame's own material or tint, component by component. Which batches
fit one another is not in the masters, so that a donor of any batch is offered and the hand at the
bench has the last word.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from math import ceil
from typing import Final

from django.db.models import Q
from django.utils import timezone

from inventory.errors import Conflict
from inventory.models import Event, Workshop
from inventory.months.sums.calendar_month import Month
from returns.catalogue.queries import Made
from returns.figures.circularity.queries.judged import refusal_in_words
from returns.models import Grading, PartPromise, RepairJob, ReturnedFrame
from returns.models.gradings import Outcome
from returns.salvage.queries import lacking
from returns.salvage.queries.lacking import Gift, Lack
from returns.salvage.sums import matching as salvage
from returns.salvage.sums import replay as salvage_replay
from returns.salvage.sums.matching import Comparison, Donor, Need, SalvageError
from returns.salvage.sums.replay import Giving, Served, Stay, Wanting
from returns.story.sums.states import FrameState

# Own choice: taking one part off whole and fitting it, beside the stripping that happens anyway.
TAKE_OFF_MINUTES: Final = 2
MONTHS_BACK: Final = 12


@dataclass(frozen=True, slots=True)
class Pair:
    """A lacking piece with the gift that the best matching has for it, or the reason for none."""

    lack: Lack
    gift: Gift | None
    reason: str


@dataclass(frozen=True, slots=True)
class Board:
    """Today's matching. `cut_short` says that there was more than can be matched at a time."""

    pairs: tuple[Pair, ...]
    saved: int
    in_order: int
    promises: tuple[PartPromise, ...]
    ready: tuple[ReturnedFrame, ...]
    donors: int
    take_off_minor: int
    cut_short: bool


@dataclass(frozen=True, slots=True)
class MonthSaving:
    """One past month replayed: frames that began to wait for parts, donors' parts that began to
    wait for the strip-down, and the frames saved in it either way, with what that cost.

    `several` frames lacked more than one piece; `contested` parts were wanted by more than one
    frame at once, when served first come, first served.
    """

    month: str
    frames: int
    several: int
    parts: int
    contested: int
    best: int
    in_order: int
    best_minor: int
    in_order_minor: int

    @property
    def gained(self) -> int:
        """Frames saved more; a month may be worse when an earlier one took more."""
        return self.best - self.in_order


def board() -> Board:
    """Match what is lacking now with what waiting donors could give."""
    short = lacking.shortage()
    promises = tuple(lacking.open_promises())
    # What is promised already is no longer lacking: matched again, it would take a second donor.
    spoken_for = {(one.frame_id, one.component) for one in promises}
    open_ = [one for one in short.lacks if (one.frame.pk, one.component) not in spoken_for]
    lacks, gifts = _bounded(open_), lacking.gifts()
    offered = gifts[: salvage.DONORS_MAX]
    compared = _compared([need(one) for one in lacks], offered)
    by_key = {gift.key: gift for gift in offered}
    pairs = tuple(
        Pair(one, by_key[row.donor.key] if row.donor else None, row.reason)
        for one, row in zip(lacks, compared.best.rows, strict=True)
    )
    return Board(
        pairs=pairs,
        saved=len(compared.best.saved),
        in_order=len(compared.in_order.saved),
        promises=promises,
        ready=short.ready,
        donors=len({gift.donor.pk for gift in gifts}),
        take_off_minor=take_off_minor(),
        cut_short=len(lacks) < len(open_) or len(offered) < len(gifts),
    )


def promises_of(frame: ReturnedFrame) -> list[PartPromise]:
    """Return live promises in which the frame gives or gets, and what was kept for it."""
    live = lacking.open_promises().filter(Q(donor=frame) | Q(frame=frame))
    kept = PartPromise.objects.filter(frame=frame, state=PartPromise.State.KEPT)
    return [*live, *kept.select_related("donor", "frame", "part")]


def need(lack: Lack) -> Need:
    """Return a lack as the sums take it. A part that is no component of the model fits no donor."""
    return _need(lack.frame, lack.component, lack.part, lack.made)


def donor(gift: Gift, cost_minor: int) -> Donor:
    """Return a gift as the sums take it."""
    return Donor(
        key=gift.key,
        component_key=gift.piece.key,
        model_key=gift.piece.model.code,
        colourway_key=gift.look or "",
        batch_key=gift.donor.batch.code if gift.donor.batch else "",
        cost_minor=cost_minor,
    )


def take_off_minor() -> int:
    """Return the labour for one salvaged part, in minor units."""
    # Up to whole cents: labour is not shown cheaper than it is.
    return ceil(TAKE_OFF_MINUTES * Workshop.the().labour_minor_per_hour / 60)


def history(at: datetime) -> list[MonthSaving]:
    """Replay the last months day by day: the best matching, and first come, first served.

    Each day knows the frames held for want of parts on it and the frames that waited on it to be
    stripped. Seven questions to the database.
    """
    since = at - timedelta(days=31 * MONTHS_BACK)
    wanting, giving = _wanting(since, at), _giving(since, at)
    try:
        played = salvage_replay.replay(wanting, giving)
    except SalvageError as error:
        raise Conflict(refusal_in_words(error)) from error
    came = Counter(_month(one.stay.first) for one in wanting)
    several = Counter(_month(one.stay.first) for one in wanting if len(one.needs) > 1)
    offered = Counter(_month(one.stay.first) for one in giving)
    contested = Counter(map(_month, played.in_order.contested.values()))
    pieces = {one.frame_key: len(one.needs) for one in wanting}
    best, in_order = _by_month(played.best), _by_month(played.in_order)
    cost_minor = take_off_minor()
    return [
        MonthSaving(
            month=month,
            frames=came[month],
            several=several[month],
            parts=offered[month],
            contested=contested[month],
            best=len(best.get(month, [])),
            in_order=len(in_order.get(month, [])),
            best_minor=cost_minor * sum(pieces[frame] for frame in best.get(month, [])),
            in_order_minor=cost_minor * sum(pieces[frame] for frame in in_order.get(month, [])),
        )
        for month in sorted(set(came) | set(offered))
    ]


def _by_month(served: Served) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for frame, day in served.day_of.items():
        found.setdefault(_month(day), []).append(frame)
    return found


def _bounded(lacks: Sequence[Lack]) -> list[Lack]:
    """Return as many whole frames as can be matched at a time."""
    if len(lacks) <= salvage.NEEDS_MAX:
        return list(lacks)
    # A frame cut in two would look saved with half of its parts: the whole frame waits for the next
    # time.
    cut = lacks[salvage.NEEDS_MAX].frame.pk
    return [one for one in lacks[: salvage.NEEDS_MAX] if one.frame.pk != cut]


def _compared(needs: Sequence[Need], gifts: Sequence[Gift]) -> Comparison:
    cost_minor = take_off_minor()
    try:
        return salvage.compare(needs, [donor(gift, cost_minor) for gift in gifts])
    except SalvageError as error:
        raise Conflict(refusal_in_words(error)) from error


def _need(frame: ReturnedFrame, component: str, part: str, made: Made | None) -> Need:
    way = frame.colourway
    return Need(
        frame_key=frame.tag,
        component_key=component if made is not None else f"part:{part}",
        model_key=way.model.code if way else "",
        # Only what is seen must match, by material or by tint: a screw fits a frame of any.
        colourway_key=made.look if made is not None else None,
    )


def _wanting(since: datetime, at: datetime) -> list[Wanting]:
    """Return each frame from its first hold for want of parts until a grading lacked none, or
    decided otherwise; it may wait still."""
    rows = Grading.objects.filter(at__lte=at, frame__colourway__isnull=False)
    rows = rows.select_related(
        "frame__colourway__model", "frame__colourway__colour", "frame__colourway__polymer"
    )
    held: dict[int, Grading] = {}
    until: dict[int, datetime] = {}
    for grading in rows.order_by("at", "pk"):
        if _lacks_parts(grading):
            # In rising order of time `setdefault` keeps the first: a frame waits from its first
            # hold on.
            held.setdefault(grading.frame_id, grading)
        elif grading.frame_id in held:
            until.setdefault(grading.frame_id, grading.at)
    bills = lacking.bills_of(grading.frame for grading in held.values())
    return [
        Wanting(
            grading.frame.tag,
            tuple(_needs_then(grading, bills)),
            Stay(_day(grading.at), _day(until.get(frame, at))),
        )
        for frame, grading in held.items()
        if until.get(frame, at) >= since
    ]


def _lacks_parts(grading: Grading) -> bool:
    plan = grading.sums.get("plan")
    return grading.decided == Outcome.HOLD and bool(plan and plan.get("missing"))


def _needs_then(grading: Grading, bills: lacking.Bills) -> list[Need]:
    frame, plan = grading.frame, grading.sums["plan"]
    bill = bills[frame.colourway.pk] if frame.colourway else {}
    return [
        _need(frame, component, code, lacking.made_if(bill.get(component), code))
        for component, code in lacking.pieces_lacking(plan, plan["missing"])
    ]


def _giving(since: datetime, at: datetime) -> list[Giving]:
    """Return the sound parts of each frame from the day it was to be stripped until it was."""
    events = Event.objects.filter(name="stripdown.strip", at__gte=since, at__lte=at)
    until = dict(events.values_list("subject", "at"))
    rows = ReturnedFrame.objects.filter(
        Q(state__in=(FrameState.BOXED, FrameState.GROUND), tag__in=events.values("subject"))
        | Q(state=FrameState.TO_STRIP),
        colourway__isnull=False,
        is_stranger=False,
    )
    rows = rows.select_related(
        "colourway__model", "colourway__colour", "colourway__polymer", "batch"
    )
    frames = list(rows.order_by("promised_by", "weighed_at", "tag"))
    began = _to_strip_since(frames)
    cost_minor = take_off_minor()
    return [
        Giving(
            gift.donor.tag,
            donor(gift, cost_minor),
            Stay(_day(began[gift.donor.pk]), _day(until.get(gift.donor.tag, at))),
        )
        for gift in lacking.sound_pieces(frames)
    ]


def _to_strip_since(frames: Sequence[ReturnedFrame]) -> dict[int, datetime]:
    """Return the moment of the latest grading, or of a repair job given up after it."""
    keys = [frame.pk for frame in frames]
    graded = Grading.objects.filter(frame__in=keys).order_by("at", "pk")
    # In rising order, so that the latest grading of a frame stays.
    began = dict(graded.values_list("frame", "at"))
    ended = RepairJob.objects.filter(frame__in=keys, state=RepairJob.State.ABANDONED)
    for frame, moment in ended.order_by("ended_at").values_list("frame", "ended_at"):
        began[frame] = max(began[frame], moment or began[frame])
    return began


def _day(moment: datetime) -> int:
    return timezone.localtime(moment).date().toordinal()


def _month(day: int) -> str:
    return str(Month.of_date(date.fromordinal(day)))
