"""What a grading has to know of a frame: remedies, prices, stock and limits from the masters.

Reads only. The sums themselves live in `returns.grading.sums`; what follows from them is done in
`lookover`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from types import MappingProxyType
from typing import Final

from django.db.models import Q, Sum

from inventory.models import (
    ClassPrice,
    GrindRun,
    Origin,
    Part,
    PlaceKind,
    Posting,
    Workshop,
)
from inventory.parts import queries as part_stock
from returns.catalogue import queries as catalogue
from returns.catalogue.queries import Material
from returns.grading import sums as grading
from returns.grading.queries import learning, new_frame
from returns.grading.queries.learning import NOTHING, Tally
from returns.grading.sums.costs import stripping_minor
from returns.grading.sums.facts import PPM, RECOVERY_SHARE_PPM
from returns.mending import sums as threads
from returns.models import Colourway, Component, Policy, Remedy, RemedyPart, ReturnedFrame
from returns.models.catalogue import ComponentKey, ComponentKind
from returns.models.remedies import DefectKey, Method

# A defect is pointed at where it shows; the piece that is mended or replaced may be a larger one.
PIECE_OF: Final[Mapping[str, str]] = MappingProxyType(
    {
        ComponentKey.BRIDGE: ComponentKey.FRONT,
        ComponentKey.HINGE_LEFT: ComponentKey.ARM_LEFT,
        ComponentKey.HINGE_RIGHT: ComponentKey.ARM_RIGHT,
    }
)
YIELD_RUNS: Final = 20
YIELD_RUNS_MIN: Final = 3
"""Latest grind runs that the measured yield is taken over, and how many it needs."""
MEASURED: Final = frozenset({DefectKey.OFFSET, DefectKey.STRIPPED, DefectKey.GROOVE})
"""Defects with a length: hole offset, wall left round the hole, depth of the worn groove."""
# One remedy may apply to two pieces, a left and a right arm. The sums need a key for each.
KEY_SIGN: Final = "@"


@dataclass(frozen=True, slots=True)
class Seen:
    """One finding as the bench entered it. `measured_um` is in micrometres."""

    component: str
    defect: str
    measured_um: int | None = None

    @property
    def piece(self) -> str:
        """The piece of the bill of materials that the finding belongs to."""
        return PIECE_OF.get(self.component, self.component)

    @property
    def measured_mm(self) -> Decimal | None:
        return None if self.measured_um is None else Decimal(self.measured_um) / 1000


@dataclass(frozen=True, slots=True)
class Offer:
    """A remedy of the masters applied to one piece, beside what the sums know of it.

    The sums' minutes and odds are the learned means; `tally` holds the outcomes behind them.
    """

    row: Remedy
    piece: str
    parts: Mapping[Part, int]
    tally: Tally
    sums: grading.Remedy


def findings(seen: Iterable[Seen]) -> tuple[grading.Finding, ...]:
    """Return the findings as the sums take them: by piece, each defect of a piece once."""
    by_pair: dict[tuple[str, str], grading.Finding] = {}
    for one in seen:
        found = grading.Finding(one.piece, one.defect, measured_mm=one.measured_mm)
        # Bridge and front may both be ticked and are one piece; the first is taken, for the sums
        # refuse a finding twice.
        by_pair.setdefault((one.piece, one.defect), found)
    return tuple(by_pair.values())


def offers(frame: ReturnedFrame, seen: Sequence[Seen], policy: Policy) -> list[Offer]:
    """Return every remedy in use that could answer a finding on a piece that this model has.

    A replacement answers whatever else is wrong with the same piece, so that nothing is mended
    on a piece that is thrown away. A remedy whose own spare part is not named is left out.
    """
    pieces = {piece.key: piece for piece in bill(frame)}
    by_piece: dict[str, set[str]] = {}
    for one in seen:
        by_piece.setdefault(one.piece, set()).add(one.defect)
    rows = list(
        Remedy.objects.filter(active=True, defect__in={one.defect for one in seen})
        .order_by("key")
        # The parts of all remedies come at once, not remedy by remedy.
        .prefetch_related("parts__part")
    )
    outcomes = learning.tallies(rows)
    made = [
        _offer((row, outcomes.get(row.pk, NOTHING)), pieces[key], defects, pieces, policy)
        for key, defects in by_piece.items()
        for row in rows
        if key in pieces and row.component_kind == pieces[key].kind and row.defect in defects
    ]
    return [offer for offer in made if offer is not None]


def bill(frame: ReturnedFrame) -> list[Component]:
    """Return the colourway's bill of materials; empty when the model is not known."""
    if frame.colourway is None:
        return []
    return [made.piece for made in catalogue.bill_of(frame.colourway).values()]


def _offer(
    known: tuple[Remedy, Tally],
    piece: Component,
    defects: set[str],
    pieces: Mapping[str, Component],
    policy: Policy,
) -> Offer | None:
    row, tally = known
    parts = _parts(row.parts.all(), piece)
    if parts is None:
        return None
    answered = defects if row.method == Method.REPLACE else {row.defect}
    sums = grading.Remedy(
        key=f"{row.key}{KEY_SIGN}{piece.key}",
        component_key=piece.key,
        defect_keys=frozenset(answered),
        method=row.method,
        minutes=tally.minutes(Fraction(row.minutes)),
        odds=tally.odds(Fraction(row.odds_ppm, PPM)),
        parts={part.code: count for part, count in parts.items()},
        wall_min_mm=_wall_min_mm(row, piece, parts, pieces, policy),
    )
    return Offer(row, piece.key, parts, tally, sums)


def _parts(rows: Iterable[RemedyPart], piece: Component) -> dict[Part, int] | None:
    parts: dict[Part, int] = {}
    for row in rows:
        # An empty part means the piece's own. A piece without one cannot be replaced from stock, so
        # the remedy is no offer.
        part = row.part or piece.part
        if part is None:
            return None
        parts[part] = parts.get(part, 0) + row.pieces
    return parts


def _wall_min_mm(
    row: Remedy,
    piece: Component,
    parts: Mapping[Part, int],
    pieces: Mapping[str, Component],
    policy: Policy,
) -> Decimal | None:
    """Return the wall needed today beside the hole, in mm; None for what is no stepping up."""
    sizes = [thread for part in parts if (thread := _thread(part)) is not None]
    if row.method != Method.STEP_UP or not sizes:
        return None
    # A remedy may use several threaded parts; the largest thread asks for the most plastic.
    following = max(sizes, key=lambda thread: thread.diameter_mm)
    side = piece.key.rpartition("_")[2]
    # What the hole holds today is the size of the model's own screw on that side. Without one the
    # hole is taken to have the new size already, and nothing more is lost.
    own = pieces.get(f"{ComponentKind.SCREW}_{side}")
    current = _thread(own.part) if own is not None and own.part is not None else None
    ratio = Decimal(policy.wall_ratio_ppm) / PPM
    return threads.wall_needed_now_mm(current or following, following, wall_ratio=ratio)


def _thread(part: Part) -> threads.Thread | None:
    for thread in threads.THREADS:
        # The masters may write a size with its pitch or without it, as M1.4x0.3 or M1.4.
        if part.screw_size and part.screw_size in (thread.name, thread.name.partition("x")[0]):
            return thread
    return None


def new_frame_cost(frame: ReturnedFrame, policy: Policy) -> new_frame.Cost | None:
    """Return what a new frame like this costs, measured or typed; None without its colourway."""
    if frame.colourway is None:
        return None
    look = frame.colourway
    return new_frame.of(look, material_minor_per_kg=worth_of(look), policy=policy)


def prices(
    frame: ReturnedFrame,
    offered: Iterable[Offer],
    policy: Policy,
    made_anew: new_frame.Cost | None,
) -> grading.Prices:
    """Return what things cost today, in minor units."""
    workshop = Workshop.the()
    labour_minor = workshop.labour_minor_per_hour
    return grading.Prices(
        labour_minor_per_hour=labour_minor,
        postage_out_minor=workshop.postage_out_minor,
        postage_in_minor=workshop.postage_in_minor,
        new_frame_cost_minor=made_anew.minor if made_anew else 0,
        material_minor_per_kg=worth_of(frame.colourway) if frame.colourway else 0,
        regrind_cost_minor=stripping_minor(labour_minor, workshop.strip_minutes),
        part_minor={part.code: part.price_minor for offer in offered for part in offer.parts},
        repair_ceiling_share_ppm=policy.ceiling_ppm,
        recovery_share_ppm=recovery_share_ppm(),
    )


def recovery_share_ppm() -> int:
    """Return which share of what was ground became flake, over the latest runs of returns.

    With fewer than YIELD_RUNS_MIN of them it is the sums' own cautious choice. Two questions.
    """
    runs = GrindRun.objects.filter(state=GrindRun.State.FINISHED, lot__origin=Origin.RETURN)
    runs = runs.order_by("-finished_at", "-pk")[:YIELD_RUNS]
    codes = list(runs.values_list("code", flat=True))
    if len(codes) < YIELD_RUNS_MIN:
        return RECOVERY_SHARE_PPM
    ground = Posting.objects.filter(
        movement__kind="grind", movement__subject__in=codes, movement__reverses=None
    ).filter(movement__reversed_by=None)
    taken = Sum("quantity", filter=Q(source__kind=PlaceKind.BOX))
    flake = Sum("quantity", filter=Q(target__kind=PlaceKind.LOT))
    sums = ground.aggregate(taken=taken, flake=flake)
    # Rounded down, as every credit of a grading is; found in excess, flake may outweigh the box.
    return min(PPM, PPM * (sums["flake"] or 0) // sums["taken"]) if sums["taken"] else 0


def worth_of(colourway: Colourway) -> int:
    """Return what a kilogram of a colourway's frame material is worth, selling costs off.

    Of several materials it is their mean, each by its mass in the bill, rounded down.
    """
    heaps = catalogue.heaps(colourway, catalogue.bill_of(colourway))
    if len(heaps) == 1:
        return _worth_minor_per_kg(heaps[0].material)
    worth = sum(heap.nominal_mg * _worth_minor_per_kg(heap.material) for heap in heaps)
    return worth // sum(heap.nominal_mg for heap in heaps)


def _worth_minor_per_kg(material: Material) -> int:
    rows = ClassPrice.objects.filter(polymer=material.polymer, origin=Origin.RETURN)
    own = Q(colour=material.colour)
    # A price for the colour goes before the one for any colour.
    price = rows.filter(own).first() or rows.filter(colour=None).first()
    if price is None:
        return 0
    costs = price.to_complete_minor_per_kg + price.to_sell_minor_per_kg
    # Net of what it still costs to make and sell (net realisable value, IAS 2). Below zero nobody
    # would sell it: then it is worth nothing, not less.
    return max(0, price.price_minor_per_kg - costs)


def stock_of(offered: Iterable[Offer], tag: str) -> grading.Stock:
    """Return the parts that may be promised to this frame, those promised already included."""
    parts = {part for offer in offered for part in offer.parts}
    return grading.Stock({part.code: part_stock.available(part, subject=tag) for part in parts})


def limits(policy: Policy) -> grading.Limits:
    """Return the bench's rules that overrule money, with the owner's figures in them."""
    return grading.Limits(
        # Not the owner's to change: a pivot carries the whole load of the arm, and glue does not
        # hold there. Common practice, no source.
        bans=(grading.Ban(DefectKey.CRACKED_PIVOT, Method.GLUE),),
        measured=(
            grading.MeasuredLimit(
                DefectKey.OFFSET,
                Decimal(policy.hole_offset_um) / 1000,
                frozenset({Method.REPLACE.value}),
            ),
        ),
        mends_max=policy.mends_max,
        foreign_defect_keys=frozenset({DefectKey.FOREIGN.value}),
    )


def frame_facts(
    frame: ReturnedFrame, seen: Sequence[Seen], polymer: str, *, found_sound: bool
) -> grading.FrameFacts:
    """Return what is known of the frame itself. A measured wall outweighs the drawing's."""
    walls = {
        piece.key: Decimal(piece.wall_um) / 1000
        for piece in bill(frame)
        if piece.wall_um is not None
    }
    measured = {
        one.piece: one.measured_mm
        for one in seen
        if one.defect == DefectKey.STRIPPED and one.measured_mm is not None
    }
    return grading.FrameFacts(
        mass_mg=material_mg(frame),
        polymer=grading.PolymerCheck(polymer),
        model_known=frame.colourway is not None,
        wish=grading.Wish(frame.wish) if frame.wish else None,
        mends=frame.mends_before,
        found_sound=found_sound,
        wall_mm=walls | measured,
    )


def material_mg(frame: ReturnedFrame) -> int:
    """Return the frame polymer in the weighed mass, in mg, by the bill's shares.

    Without a bill, or without frame material in it, that is the whole mass.
    """
    pieces = bill(frame)
    whole_mg = sum(piece.nominal_mg for piece in pieces)
    plastic_mg = sum(piece.nominal_mg for piece in pieces if piece.is_frame_material)
    if not plastic_mg:
        return frame.reading.mass_mg
    # Integer division rounds down: the credit for material is never more than there is. At least 1
    # mg, for the sums refuse a frame without mass.
    return max(1, frame.reading.mass_mg * plastic_mg // whole_mg)
