"""What came back and what became of it: shares, masses and losses of a span, model or batch.

The owner's page, the claims sheet and the API all read `circularity()`. Every figure comes from
postings, sold units and the frames' own rows; nothing is estimated here.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import partial

from django.db.models import Count, Exists, Max, OuterRef, Q, QuerySet, Subquery, Sum

from inventory.models import GrindRun, Origin, PlaceKind, Posting
from inventory.months.sums.calendar_month import Month
from inventory.weighing.sums.weighing import total
from returns.figures.circularity.queries import flows, untraced
from returns.figures.circularity.queries.flows import Weighed
from returns.figures.circularity.queries.judged import BOOKED, Judged
from returns.figures.circularity.queries.outcomes import (
    AS_IS,
    DISCARDED,
    MENDED,
    REGROUND,
    by_outcome,
    outcomes,
)
from returns.figures.circularity.sums import circularity as sums
from returns.figures.circularity.sums.mass_shares import mass_share, recovery_yield
from returns.figures.circularity.sums.recycled_content import (
    Issue,
    RecycledContent,
    recycled_content,
)
from returns.figures.span.queries import Scope, Span, zone
from returns.models import ReturnedFrame, SoldUnits
from returns.story.sums.states import FrameState

GRIND_LOSSES = ("dust", "purge", "moisture", "unexplained")
STRIP_LOSSES = ("lens", "metal", "foreign", "dust", "purge", "moisture", "unexplained")


@dataclass(frozen=True, slots=True, kw_only=True)
class Counts:
    """Pieces. `sold_ever` and `came_ever` are up to the end of the span, first returns only.

    `sold_until` is the last month of it whose sales are known, "" for none; `came_of_sold` are the
    first returns up to then, without rejects of our own that were never sold.
    """

    sold_in_span: int
    sold_ever: int
    received: int
    first_returns: int
    came_ever: int
    sold_until: str
    came_of_sold: int
    mended: int
    reground: int
    posted_as_is: int
    discarded: int

    @property
    def ended(self) -> int:
        """Frames whose fate was carried out: posted, put into a box, or discarded."""
        return self.mended + self.reground + self.posted_as_is + self.discarded

    @property
    def out_there(self) -> int:
        """Units that were with customers, or came back first in this span."""
        return self.sold_ever - self.came_ever + self.first_returns


@dataclass(frozen=True, slots=True, kw_only=True)
class Loss:
    """Mass that left by one cause at one stage ("strip_down" or "grind"), in milligrams.

    Negative for a count difference where more came out than went in. `expanded_mg` is k = 2 of its
    readings, and None where the mass follows by subtraction.
    """

    stage: str
    cause: str
    mass_mg: int
    share: float
    expanded_mg: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Content:
    """Make-up of what was issued to moulding, in milligrams; shares 0..1, None without an issue.

    In-process scrap is left out of the share on both sides; `unknown_mg` counts as virgin.
    `weighed` has each mass again by its name without the unit, with its uncertainty (k = 2).
    """

    post_consumer_return_mg: int
    post_consumer_feedstock_mg: int
    in_process_mg: int
    virgin_mg: int
    unknown_mg: int
    counted_mg: int
    recycled_share: float | None
    return_share: float | None
    issues: int
    scrap_back_mg: int
    weighed: dict[str, Weighed]

    @property
    def post_consumer_mg(self) -> int:
        return self.post_consumer_return_mg + self.post_consumer_feedstock_mg


@dataclass(frozen=True, slots=True, kw_only=True)
class Circularity:
    """The figures of one span and scope. Shares carry their interval and method.

    What was ground rests on the readings of the frames at the box, not on one of its own. The two
    `_traced` shares are those that may be claimed: opening stock counts as of unknown origin.
    """

    first_month: str
    last_month: str
    scope: str
    counts: Counts
    take_back: Judged
    take_back_in_span: Judged
    take_back_of_sold: Judged
    repair_share: Judged
    recovered: Weighed
    salvaged: Weighed
    recovery_yield: Judged
    runs: int
    ground: Weighed
    flake: Weighed
    losses: tuple[Loss, ...]
    content: Content
    recycled_content: Judged
    closed_loop: Judged
    recycled_content_traced: Judged
    closed_loop_traced: Judged
    on_suppliers_word: float


def circularity(span: Span, scope: Scope) -> Circularity:
    """Return every figure of a span, in a number of questions that does not grow with the books.

    Grinding mixes models in a box, so recovery yield and grinding losses are those of the whole
    workshop whatever the scope.
    """
    counts = _counts(span, scope)
    frame_rows = flows.of_frames(span, scope)
    strips = frame_rows.filter(movement__kind="strip_down")
    grinds = flows.postings(span).filter(movement__kind="grind")
    stripped, ground = flows.net(strips), flows.net(grinds)
    content = content_of(span, scope)
    recycled, closed_loop = _issued_shares(content)
    recycled_traced, loop_traced, on_word = _traced_shares(content, flows.of_batches(span, scope))
    into = flows.weighed_by_target(strips)
    boxed, flake = _boxed(span, _ground_mg(ground)), _flake(span)
    runs = _runs(span)
    return Circularity(
        first_month=span.labels[0],
        last_month=span.labels[1],
        scope=scope.name,
        counts=counts,
        take_back=_take_back(counts.came_ever, counts.sold_ever),
        take_back_in_span=_take_back(counts.first_returns, counts.out_there),
        take_back_of_sold=_take_back(counts.came_of_sold, counts.sold_ever),
        repair_share=Judged.of(
            partial(sums.repair_share, repaired=counts.mended, graded=counts.ended)
        ),
        recovered=into.get(PlaceKind.BOX, flows.NOTHING),
        salvaged=into.get(PlaceKind.SALVAGE, flows.NOTHING),
        recovery_yield=_yield(flake, boxed, runs),
        runs=runs,
        ground=boxed,
        flake=flake,
        # Boxes of every origin: the granulator's dust comes from all of them.
        losses=(
            *_losses(stripped, strips, "strip_down", STRIP_LOSSES),
            *_losses(ground, grinds, "grind", GRIND_LOSSES),
        ),
        content=content,
        recycled_content=recycled,
        closed_loop=closed_loop,
        recycled_content_traced=recycled_traced,
        closed_loop_traced=loop_traced,
        on_suppliers_word=on_word,
    )


def _counts(span: Span, scope: Scope) -> Counts:
    last = span.labels[1]
    # Filtered sums in one question: a question for each count would read the same rows again.
    sold = scope.sold().aggregate(
        ever=Sum("pieces", filter=Q(month__lte=last)),
        span=Sum("pieces", filter=Q(month__lte=last, month__gte=span.labels[0])),
        until=Max("month", filter=Q(month__lte=last)),
    )
    until = sold["until"] or ""
    # Sales are known up to a month, returns up to today: the share is of both up to that month.
    end = Month.parse(until).span_utc(zone())[1] if until else span.start
    was_sold = SoldUnits.objects.filter(batch=OuterRef("batch"), month__lte=last, pieces__gt=0)
    of_sold = Q(weighed_at__lt=end, mends_before=0) & (Q(batch=None) | Q(Exists(was_sold)))
    in_span = span.holds("weighed_at")
    became = by_outcome(outcomes(scope, first=span.labels[0], last=last))
    came = scope.frames().aggregate(
        received=Count("pk", filter=in_span),
        first=Count("pk", filter=in_span & Q(mends_before=0)),
        ever=Count("pk", filter=Q(weighed_at__lt=span.end, mends_before=0)),
        of_sold=Count("pk", filter=of_sold),
    )
    return Counts(
        sold_in_span=sold["span"] or 0,
        sold_ever=sold["ever"] or 0,
        received=came["received"],
        first_returns=came["first"],
        came_ever=came["ever"],
        sold_until=until,
        came_of_sold=came["of_sold"] if until else 0,
        mended=became[MENDED],
        reground=became[REGROUND],
        posted_as_is=became[AS_IS],
        discarded=became[DISCARDED],
    )


def _take_back(returned: int, sold: int) -> Judged:
    """Return the rate. More returned than sold means that sales were not imported: no rate."""
    if returned > sold:
        return Judged.without(of="sold units", have=max(0, sold), need=returned)
    return Judged.of(partial(sums.take_back_rate, returned=returned, sold=sold))


def _ground_mg(ground: flows.Flows) -> int:
    """Return the mass taken from the boxes of returns, less what a run found in excess."""
    leaving = ground.total_mg("grind", source="box", origin=Origin.RETURN)
    return leaving - ground.total_mg("grind", target="box", origin=Origin.RETURN)


def _runs(span: Span) -> int:
    return GrindRun.objects.filter(
        span.holds("finished_at"), state=GrindRun.State.FINISHED, lot__origin=Origin.RETURN
    ).count()


def _flake(span: Span) -> Weighed:
    """Return the flake out of the boxes of returns."""
    grinds = flows.postings(span).filter(movement__kind="grind", source__origin=Origin.RETURN)
    back = flows.postings(span).filter(movement__kind="grind", target__origin=Origin.RETURN)
    return flows.weighed(grinds | back, source="box", target="lot")


def _boxed(span: Span, ground_mg: int) -> Weighed:
    """Return what was ground, with the uncertainty that its frames had at the box."""
    tags = ReturnedFrame.objects.filter(
        span.holds("lot__run__finished_at"), state=FrameState.GROUND
    ).order_by()
    put_in = Posting.objects.filter(
        movement__kind="strip_down", movement__subject__in=Subquery(tags.values("tag"))
    ).order_by()
    found = flows.weighed(put_in, target="box")
    # What was ground beyond the frames' own mass has no frame, so no reading stands behind it.
    of_no_frame_mg = abs(ground_mg - found.mass_mg)
    unweighed_mg = min(abs(ground_mg), found.unweighed_mg + of_no_frame_mg)
    return replace(found, mass_mg=ground_mg, unweighed_mg=unweighed_mg)


def _yield(flake: Weighed, ground: Weighed, runs: int) -> Judged:
    """Return the yield. The flake's uncertainty is its readings'; the box's, that of its frames."""
    if ground.mass_mg <= 0:
        return Judged.without(of="grind runs", have=runs, need=1)
    judged = Judged.of(
        partial(
            recovery_yield,
            flake.measured,
            replace(ground.measured, mass_mg=ground.mass_mg),
            evidence=runs,
        )
    )
    return _ranged(judged, [flake, ground])


def _losses(
    found: flows.Flows, rows: QuerySet[Posting], stage: str, causes: Iterable[str]
) -> tuple[Loss, ...]:
    by_cause = Counter(found.by_target_mg(stage))
    whole_mg = found.total_mg(stage) - found.total_mg(stage, source="unexplained")
    by_cause["unexplained"] -= found.total_mg(stage, source="unexplained")
    readings = flows.weighed_by_target(rows.filter(reading__isnull=False))
    return tuple(
        Loss(
            stage=stage,
            cause=cause,
            mass_mg=by_cause[cause],
            share=by_cause[cause] / whole_mg,
            expanded_mg=_expanded_mg(readings.get(cause), by_cause[cause]),
        )
        for cause in causes
        if whole_mg > 0 and by_cause[cause]
    )


def _expanded_mg(weighed: Weighed | None, mass_mg: int) -> float | None:
    """Return the ± (k = 2) in mg, None unless every milligram was weighed."""
    # A cause of which only a part was weighed would show the ± of that part for the whole.
    if weighed is None or weighed.mass_mg != mass_mg:
        return None
    return weighed.expanded_mg


def content_of(span: Span, scope: Scope) -> Content:
    rows = flows.of_batches(span, scope)
    scrap = flows.postings(span).filter(movement__kind="return_scrap")
    # An issue that was wholly reversed leaves zero, which the sum refuses as no issue.
    issued = {key: one for key, one in flows.weighed_by_origin(rows).items() if one.mass_mg > 0}
    made = recycled_content(Issue(key, one.mass_mg) for key, one in sorted(issued.items()))
    weighed = _by_name(issued)
    if scope.is_whole:
        weighed["scrap_back"] = flows.weighed(scrap, target=PlaceKind.BOX)
    return Content(
        post_consumer_return_mg=made.post_consumer_return_mg,
        post_consumer_feedstock_mg=made.post_consumer_feedstock_mg,
        in_process_mg=made.in_process_mg,
        virgin_mg=made.virgin_mg,
        unknown_mg=made.unknown_mg,
        counted_mg=made.counted_mg,
        recycled_share=_float(made, "post_consumer_share"),
        return_share=_float(made, "return_share"),
        # Neither the reversals nor what they reversed: what never happened is no evidence.
        issues=rows.filter(movement__reverses=None, movement__reversed_by=None)
        .values("movement")
        .distinct()
        .count(),
        scrap_back_mg=weighed["scrap_back"].mass_mg,
        weighed=weighed,
    )


def _traced_shares(content: Content, rows: QuerySet[Posting]) -> tuple[Judged, Judged, float]:
    """Return the shares of `_issued_shares` with what nobody can trace as of no origin: virgin.

    The third is the share, 0..1, that rests on what its suppliers say of it.
    """
    doubtful = untraced.issued_mg(rows, untraced.shares())
    own, feed = content.weighed[Origin.RETURN], content.weighed[Origin.FEEDSTOCK]
    declared = feed.mass_mg - min(feed.mass_mg, doubtful.get(Origin.FEEDSTOCK, 0))
    share = declared / content.counted_mg if content.counted_mg else 0.0
    if not doubtful or not content.counted_mg:
        return *_issued_shares(content), share
    own_unknown, own = untraced.split(own, doubtful.get(Origin.RETURN, 0))
    feed_unknown, feed = untraced.split(feed, doubtful.get(Origin.FEEDSTOCK, 0))
    virgin = [content.weighed[Origin.VIRGIN], own_unknown, feed_unknown]
    return (
        _weighed_share([own, feed], virgin, content.issues),
        _weighed_share([own], [feed, *virgin], content.issues),
        share,
    )


def _by_name(issued: Mapping[str, Weighed]) -> dict[str, Weighed]:
    """Return masses by the names that `Content` has for them: the unknown is in the virgin too."""
    # Django's choices hold their plain values too; a bare Enum of Python 3.11 would raise TypeError
    # here.
    unknown = flows.together(one for key, one in issued.items() if key not in Origin)
    found = {origin.value: issued.get(origin, flows.NOTHING) for origin in Origin}
    found[Origin.VIRGIN] = flows.together([found[Origin.VIRGIN], unknown])
    counted = flows.together(one for key, one in found.items() if key != Origin.IN_PROCESS)
    return found | {"unknown": unknown, "counted": counted, "scrap_back": flows.NOTHING}


def _float(made: RecycledContent, name: str) -> float | None:
    share = getattr(made, name)
    return None if share is None else float(share)


def _issued_shares(content: Content) -> tuple[Judged, Judged]:
    """Return the shares of post-consumer material, and of own returns, in what was issued.

    No sampling stands behind them: their range is that of the weighings at the issue.
    """
    if not content.counted_mg:
        missing = Judged.without(of="issues to moulding", have=content.issues, need=1)
        return missing, missing
    own, feedstock, virgin = (
        content.weighed[origin] for origin in (Origin.RETURN, Origin.FEEDSTOCK, Origin.VIRGIN)
    )
    return (
        _weighed_share([own, feedstock], [virgin], content.issues),
        _weighed_share([own], [feedstock, virgin], content.issues),
    )


def _weighed_share(part: list[Weighed], rest: list[Weighed], evidence: int) -> Judged:
    judged = Judged.of(
        partial(
            mass_share,
            total(one.measured for one in part),
            total(one.measured for one in rest),
            evidence=evidence,
        )
    )
    return _ranged(judged, [*part, *rest])


def _ranged(judged: Judged, masses: list[Weighed]) -> Judged:
    """Take the range from a share that rests on mass which no reading stands behind."""
    share = judged.share
    if share is None or not any(one.unweighed_mg for one in masses):
        return judged
    return Judged(
        # Low and high at the share itself, and a method that says why: readers of the API know what
        # to expect.
        share=replace(share, low=share.share, high=share.share, coverage=1.0, method=BOOKED)
    )
