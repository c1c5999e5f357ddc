"""Which waiting donor could help which frame, and what such matching would have saved. Reads only.

A visible part must be of the frame's own colourway. Which batches fit one another is not in the
masters, so that a donor of any batch is offered and the hand at the bench has the last word.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from math import ceil
from typing import Final

from django.db.models import Q
from django.utils import timezone

from inventory.errors import Conflict
from inventory.models import Deed, Workshop
from inventory.sums.months import Month
from returns.models import Component, Grading, PartPromise, ReturnedFrame
from returns.models.gradings import Outcome
from returns.queries import lacking
from returns.queries.lacking import Gift, Lack
from returns.sums import salvage
from returns.sums.salvage import Comparison, Donor, Matching, Need, SalvageError
from returns.sums.states import FrameState

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
    """One past month replayed: frames that waited for parts, sound parts that were stripped."""

    month: str
    frames: int
    parts: int
    best: int
    in_order: int

    @property
    def gained(self) -> int:
        return self.best - self.in_order


def board() -> Board:
    """Match what is lacking now with what waiting donors could give."""
    short = lacking.shortage()
    promises = tuple(lacking.open_promises())
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
    """Promises that still hold, in which the frame gives or gets; and what was kept for it."""
    live = lacking.open_promises().filter(Q(donor=frame) | Q(frame=frame))
    kept = PartPromise.objects.filter(frame=frame, state=PartPromise.State.KEPT)
    return [*live, *kept.select_related("donor", "frame", "part")]


def need(lack: Lack) -> Need:
    """A lack as the sums take it. A part that is no component of the model fits no donor."""
    return _need(lack.frame, lack.component, lack.part, lack.piece)


def donor(gift: Gift, cost_minor: int) -> Donor:
    """A gift as the sums take it."""
    way = gift.donor.colourway
    return Donor(
        key=gift.key,
        component_key=gift.piece.key,
        model_key=gift.piece.model.code,
        colourway_key=way.colour.code if way else "",
        batch_key=gift.donor.batch.code if gift.donor.batch else "",
        cost_minor=cost_minor,
    )


def take_off_minor() -> int:
    """Labour for one salvaged part, in minor units."""
    return ceil(TAKE_OFF_MINUTES * Workshop.the().labour_minor_per_hour / 60)


def history(at: datetime) -> list[MonthSaving]:
    """Replay the last months: what matching would have saved, beside first come, first served.

    Each month is taken whole: every frame first held for parts in it, against every sound part
    on the frames stripped in it. Real days would have met less often, so both figures lean high.
    """
    since = at - timedelta(days=31 * MONTHS_BACK)
    wanting, giving = _held_since(since, at), _stripped_since(since, at)
    return [
        _saving(month, wanting.get(month, []), giving.get(month, []))
        for month in sorted(set(wanting) | set(giving))
    ]


def _saving(month: str, needs: Sequence[Need], gifts: Sequence[Gift]) -> MonthSaving:
    few = needs[: salvage.NEEDS_MAX]
    compared = _compared(few, gifts[: salvage.DONORS_MAX])
    return MonthSaving(
        month=month,
        frames=len({one.frame_key for one in needs}),
        parts=len(gifts),
        best=_count(compared.best),
        in_order=_count(compared.in_order),
    )


def _count(matching: Matching) -> int:
    return len(matching.saved)


def _bounded(lacks: Sequence[Lack]) -> list[Lack]:
    """As many whole frames as can be matched at a time."""
    if len(lacks) <= salvage.NEEDS_MAX:
        return list(lacks)
    cut = lacks[salvage.NEEDS_MAX].frame.pk
    return [one for one in lacks[: salvage.NEEDS_MAX] if one.frame.pk != cut]


def _compared(needs: Sequence[Need], gifts: Sequence[Gift]) -> Comparison:
    cost_minor = take_off_minor()
    try:
        return salvage.compare(needs, [donor(gift, cost_minor) for gift in gifts])
    except SalvageError as error:
        raise Conflict(error.message) from error


def _need(frame: ReturnedFrame, component: str, part: str, piece: Component | None) -> Need:
    way = frame.colourway
    is_seen = piece is not None and piece.is_frame_material
    return Need(
        frame_key=frame.tag,
        component_key=component if piece is not None else f"part:{part}",
        model_key=way.model.code if way else "",
        colourway_key=way.colour.code if way and is_seen else None,
    )


def _held_since(since: datetime, at: datetime) -> dict[str, list[Need]]:
    """By month, the pieces that each frame lacked when it was first held for want of parts."""
    rows = Grading.objects.filter(decided=Outcome.HOLD, at__gte=since, at__lte=at)
    rows = rows.select_related("frame__colourway__model", "frame__colourway__colour")
    first: dict[int, Grading] = {}
    for grading in rows.order_by("at", "pk"):
        plan = grading.sums.get("plan")
        if plan and plan.get("missing") and grading.frame.colourway is not None:
            first.setdefault(grading.frame_id, grading)
    bills = lacking.bills_of(grading.frame for grading in first.values())
    found: dict[str, list[Need]] = {}
    for grading in first.values():
        found.setdefault(_month(grading.at), []).extend(_needs_then(grading, bills))
    return found


def _needs_then(grading: Grading, bills: lacking.Bills) -> list[Need]:
    frame, plan = grading.frame, grading.sums["plan"]
    model = frame.colourway.model_id if frame.colourway else 0
    return [
        _need(frame, component, code, lacking.piece_if(bills.get((model, component)), code))
        for component, code in lacking.pieces_lacking(plan, plan["missing"])
    ]


def _stripped_since(since: datetime, at: datetime) -> dict[str, list[Gift]]:
    deeds = Deed.objects.filter(name="stripdown.strip", at__gte=since, at__lte=at)
    when = dict(deeds.values_list("subject", "at"))
    rows = ReturnedFrame.objects.filter(state__in=(FrameState.BOXED, FrameState.GROUND))
    rows = rows.filter(colourway__isnull=False, tag__in=deeds.values("subject"))
    rows = rows.select_related("colourway__model", "colourway__colour", "batch")
    found: dict[str, list[Gift]] = {}
    for gift in lacking.sound_pieces(list(rows.order_by("promised_by", "tag"))):
        found.setdefault(_month(when[gift.donor.tag]), []).append(gift)
    return found


def _month(moment: datetime) -> str:
    return str(Month.of_date(timezone.localtime(moment).date()))
