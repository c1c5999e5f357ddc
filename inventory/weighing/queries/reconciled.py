"""Whether a month's weighings agree within what the scales can tell, and where they do not.

Nodes are the balances of `weighed_twice`; streams are its legs, added up by what flows between
the same two balances. A stream's variance is that of `weighing.total`, and the test takes what
streams share of a scale's errors as their covariance: of one hundred sound months five look wrong,
as stated, and each balance says the least leak that it would show. A month with a reading of an
earlier edition, which did not know how well a scale repeats, is tested as it was then: streams as
independent, with variances raised where a common error would make a gap less certain than that,
never lowered. Such a test accuses no weighing of a scale's own offset, and misses small leaks.
Nothing is changed here: an adjusted figure is shown beside the reading, and putting the books right
is a count that a person takes and signs.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from math import ceil, hypot, isfinite

from inventory.ledger.queries import balances
from inventory.models import Place, PlaceKind, Posting
from inventory.weighing.queries import weighed_twice
from inventory.weighing.queries.weighed_twice import COUNTED, FRAMES, Leg, Node
from inventory.weighing.sums import reconciliation, weighing
from inventory.weighing.sums.reconciliation import (
    Knowledge,
    Reconciliation,
    Stream,
    StreamResult,
    Verdict,
    Weights,
)
from inventory.weighing.sums.weighing import Measured

COVERAGE = weighing.COVERAGE_FACTOR
OUT_OF_LINE_MAX = 10

Totals = Mapping[str, Measured | None]
"""What was read in each stream, by its name; None when nobody weighed it."""


@dataclass(frozen=True, slots=True)
class Flow:
    """A stream with its figures in mg; `mass_mg` is what was read, or booked if nothing was.

    `read_u_mg` is the expanded uncertainty of what was read, `u_mg` that of what was adjusted.
    `others_mg` is what all other weighings give for it without its own, `others_u_mg` the expanded
    uncertainty of that.
    `movements` are worst first where single frames can be told apart, else in the books' order.
    """

    name: str
    source: str
    target: str
    kind: str
    to: str
    mass_mg: int
    is_weighed: bool
    read_u_mg: int | None
    knowledge: Knowledge
    adjusted_mg: int | None
    u_mg: int | None
    others_mg: int | None
    others_u_mg: int | None
    z: float | None
    is_suspect: bool
    movements: tuple[int, ...]
    scales: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Balance:
    """A balance with its gap (in minus out) and the gap's expanded uncertainty, k = 2, in mg.

    Both are None when a leg was not weighed. `z` is None for exact figures that disagree.
    `leak_mg` is the least leak there that the month's test would see nine times of ten; None where
    the test cannot say.
    """

    node: Node
    gap_mg: int | None
    u_mg: int | None
    z: float | None
    is_suspect: bool
    leak_mg: int | None = None

    @property
    def is_checked(self) -> bool:
        return self.gap_mg is not None


@dataclass(frozen=True, slots=True)
class OutOfLine:
    """One frame whose own weighings disagree by more than chance among this month's frames."""

    subject: str
    gap_mg: int
    u_mg: int
    z: float
    movements: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Reconciled:
    """The month's answer. `p` is the chance of gaps this large if every weighing was sound.

    `waiting` lists boxes, lots and the salvage bin that material went through or lay in without
    a second weighing; `recount` those that a count now would tell about. `is_lenient` says that the
    month was tested by the earlier rule, for a reading of it knows no better.
    """

    label: str
    verdict: Verdict
    p: float | None
    degrees_of_freedom: int
    balances: tuple[Balance, ...]
    flows: tuple[Flow, ...]
    out_of_line: tuple[OutOfLine, ...]
    waiting: tuple[Place, ...]
    recount: tuple[Place, ...]
    is_lenient: bool = False

    @property
    def suspects(self) -> tuple[Flow, ...]:
        """Suspicious streams, worst first."""
        return tuple(
            sorted((f for f in self.flows if f.is_suspect), key=lambda f: (-(f.z or 0), f.name))
        )


def of_month(label: str) -> Reconciled:
    """Reconcile one month. A closed month's answer stays the same for ever, except `recount`."""
    found = weighed_twice.of_month(label)
    grouped = _grouped(found.legs)
    totals = {name: _total(legs) for name, legs in grouped.items()}
    is_lenient = any(leg.edition < weighing.EDITION for leg in found.legs)
    streams = [_stream(name, grouped[name][0], total) for name, total in totals.items()]
    if is_lenient:
        streams = _as_independent(streams, totals, found.nodes)
    touched = {end for stream in streams for end in (stream.source, stream.target)}
    nodes = sorted(key for key in found.nodes if key in touched)
    data = reconciliation.reconcile(streams, nodes)
    frames = _frames_out_of_line(found.legs)
    flows = tuple(
        _flow(
            data.stream(stream.name),
            grouped[stream.name],
            _Shown(totals, is_lenient),
            data=data,
            frames=frames,
        )
        for stream in sorted(streams, key=lambda stream: stream.name)
    )
    checked = _balances(found.nodes, nodes, data, knows_leaks=not is_lenient)
    return Reconciled(
        label=label,
        verdict=data.verdict,
        p=None if data.p_value is None else round(data.p_value, 6),
        degrees_of_freedom=data.degrees_of_freedom,
        balances=checked,
        flows=flows,
        out_of_line=tuple(frame for frame in frames if frame.z > _limit(found.legs))[
            :OUT_OF_LINE_MAX
        ],
        waiting=_waiting(label, found.nodes),
        recount=_recount(checked, flows, found.nodes),
        is_lenient=is_lenient,
    )


def _grouped(legs: Iterable[Leg]) -> dict[str, list[Leg]]:
    """Return the legs by stream. What was weighed and what was not are never one stream."""
    grouped: dict[str, list[Leg]] = {}
    for leg in legs:
        # One stream of both would lend the booked part the certainty of the weighed one.
        how = "weighed" if leg.measured else "booked"
        name = f"{leg.source or '-'} > {leg.target or '-'} : {leg.kind} {leg.to} {how}"
        grouped.setdefault(name, []).append(leg)
    return grouped


def _total(legs: Iterable[Leg]) -> Measured | None:
    weighed = [leg.measured for leg in legs if leg.measured]
    return weighing.total(weighed) if weighed else None


def _stream(name: str, leg: Leg, total: Measured | None) -> Stream:
    if total is None:
        return Stream(name, leg.source, leg.target)
    return Stream(
        name, leg.source, leg.target, float(total.mass_mg), total.variance_mg2, total.u_shared_mg
    )


def _as_independent(
    streams: Iterable[Stream], totals: Totals, nodes: Iterable[str]
) -> list[Stream]:
    """Return streams as the earlier edition took them; see the head of this module."""
    streams = [replace(stream, shared=()) for stream in streams]
    raised = dict.fromkeys((stream.name for stream in streams), 1.0)
    for node in nodes:
        around = [s for s in streams if node in (s.source, s.target) and s.mass is not None]
        factor = _common_error(node, around, totals)
        for stream in around:
            # A stream has two ends and one variance; the more cautious of its balances decides.
            raised[stream.name] = max(raised[stream.name], factor)
    return [replace(s, variance=s.variance * raised[s.name]) if s.variance else s for s in streams]


def _common_error(node: str, around: Iterable[Stream], totals: Totals) -> float:
    """Return by what factor common errors raise the variance of a gap; at least 1."""
    signed = [
        (1 if stream.target == node else -1, total)
        for stream in around
        if (total := totals[stream.name]) is not None
    ]
    alone = sum(total.variance_mg2 for _sign, total in signed)
    return max(1.0, weighing.combine(signed).variance_mg2 / alone) if alone else 1.0


@dataclass(frozen=True, slots=True)
class _Shown:
    """What was read in each stream, and whether figures are as uncertain as the earlier edition
    took them."""

    totals: Totals
    is_lenient: bool

    def expanded_mg(self, weights: Weights) -> int:
        """Return the expanded uncertainty in mg of a figure made of readings by these weights.

        In the earlier edition the larger counted: with common errors, or without.
        """
        shares = [(w, total) for name, w in weights.items() if (total := self.totals[name])]
        spread_mg = weighing.spread_mg(shares)
        if self.is_lenient:
            spread_mg = max(spread_mg, hypot(*(share * total.u_mg for share, total in shares)))
        return _up(COVERAGE * spread_mg)


def _flow(
    result: StreamResult,
    legs: list[Leg],
    read: _Shown,
    *,
    data: Reconciliation,
    frames: Iterable[OutOfLine],
) -> Flow:
    name, first = result.name, legs[0]
    total = read.totals[name]
    return Flow(
        name=name,
        source=first.source,
        target=first.target,
        kind=first.kind,
        to=first.to,
        mass_mg=total.mass_mg if total else sum(leg.mass_mg for leg in legs),
        is_weighed=total is not None,
        read_u_mg=_up(COVERAGE * total.u_mg) if total else None,
        knowledge=result.knowledge,
        adjusted_mg=None if result.adjusted is None else round(result.adjusted),
        u_mg=None if result.adjusted is None else read.expanded_mg(result.weights),
        others_mg=None if result.others is None else round(result.others),
        others_u_mg=None if result.others is None else read.expanded_mg(result.others_weights),
        z=None if result.z is None else round(result.z, 2),
        is_suspect=name in data.suspects,
        movements=_ranked(legs, frames),
        scales=tuple(sorted({leg.scale for leg in legs if leg.scale})),
    )


def _up(expanded_mg: float) -> int:
    """Return whole milligrams, rounded up: an uncertainty is never made smaller."""
    # Rounded to a nanogram first, so that a float's noise does not lift a whole figure by one.
    return ceil(round(expanded_mg, 6))


def _ranked(legs: Iterable[Leg], frames: Iterable[OutOfLine]) -> tuple[int, ...]:
    rank = {frame.subject: index for index, frame in enumerate(frames)}
    last = len(rank)
    ordered = sorted(legs, key=lambda leg: (rank.get(leg.subject, last), leg.movement))
    return tuple(dict.fromkeys(leg.movement for leg in ordered))


def _balances(
    known: Mapping[str, Node], keys: Iterable[str], data: Reconciliation, *, knows_leaks: bool
) -> tuple[Balance, ...]:
    results = {result.name: result for result in data.nodes}
    rows = []
    for key in keys:
        result = results.get(key)
        # A balance with a leg that nobody weighed is not tested; it is shown all the same, as
        # unchecked.
        if result is None:
            rows.append(Balance(known[key], None, None, None, False))
            continue
        # Exact figures that disagree have an infinite z, which JSON cannot write.
        z = round(result.z, 2) if isfinite(result.z) else None
        gap_mg, u_mg = round(result.imbalance), _up(COVERAGE * result.spread)
        leak = data.least_leak.get(key) if knows_leaks else None
        leak_mg = None if leak is None else _up(leak)
        rows.append(Balance(known[key], gap_mg, u_mg, z, result.suspect, leak_mg))
    return tuple(rows)


def _by_frame(legs: Iterable[Leg]) -> dict[str, list[Leg]]:
    frames: dict[str, list[Leg]] = {}
    for leg in legs:
        if FRAMES in (leg.source, leg.target):
            frames.setdefault(leg.subject, []).append(leg)
    return frames


def _limit(legs: Iterable[Leg]) -> float:
    # By the number of frames: with one limit for each alone, one sound frame in twenty would stand
    # accused every month.
    return reconciliation.sidak_critical(max(1, len(_by_frame(legs))))


def _frames_out_of_line(legs: Iterable[Leg]) -> tuple[OutOfLine, ...]:
    """Return every frame of the weighed balance; the one that its scales explain least is first."""
    frames = [_frame(subject, own) for subject, own in _by_frame(legs).items()]
    return tuple(sorted(frames, key=lambda frame: (-frame.z, frame.subject)))


def _frame(subject: str, legs: list[Leg]) -> OutOfLine:
    gap = weighing.combine(
        (1 if leg.target == FRAMES else -1, leg.measured) for leg in legs if leg.measured
    )
    movements = tuple(sorted({leg.movement for leg in legs}))
    z = round(abs(gap.mass_mg) / gap.u_mg, 2) if gap.u_mg else 0.0
    return OutOfLine(subject, gap.mass_mg, _up(COVERAGE * gap.u_mg), z, movements)


def _waiting(label: str, nodes: Mapping[str, Node]) -> tuple[Place, ...]:
    """Return the places where material lay or passed in the month with nothing to check it by."""
    checked = {node.place.pk for node in nodes.values() if node.place}
    # A place may be empty at both ends of a month and still have had material pass through it.
    held = set(balances.at_close(label))
    for source, target in Posting.objects.filter(movement__month=label).values_list(
        "source", "target"
    ):
        held |= {source, target}
    rows = Place.objects.filter(pk__in=held - checked, kind__in=COUNTED)
    return tuple(rows.select_related("lot", "polymer", "colour").order_by("kind", "code"))


def _recount(
    checked: Iterable[Balance], flows: Iterable[Flow], nodes: Mapping[str, Node]
) -> tuple[Place, ...]:
    """Return where what was suspicious still lies: counted places, and the lots that runs made.

    A box that was ground is left out, for what lies in it now is other material.
    """
    keys = {balance.node.key for balance in checked if balance.is_suspect}
    for flow in flows:
        if flow.is_suspect:
            keys |= {flow.source, flow.target}
    suspects = [node for key in keys if (node := nodes.get(key)) and node.place]
    counted = {node.place.pk for node in suspects if node.place and node.counted}
    runs = [node.ended_by for node in suspects if node.ended_by and not node.counted]
    made = Posting.objects.filter(movement__number__in=runs, target__kind=PlaceKind.LOT)
    wanted = counted | set(made.values_list("target", flat=True))
    # The balance of now and not of the month: a count today can only tell about what still lies
    # there. This is the one answer that goes on changing after a close.
    rows = Place.objects.filter(pk__in=wanted, balance__quantity__gt=0)
    return tuple(rows.select_related("lot", "polymer", "colour").order_by("kind", "code"))
