"""What each kind of movement means: one table for its legs, its figures, its cost and its undoing.

A movement whose posting is not in its kind's recipe is refused. Adding a kind is adding a row
here, its words and its migration; adding a column is a row in `COLUMNS` and its words. Nothing has
a default, so that no kind and no column means anything by accident: a leg that touches stock
without naming its column cannot be written, and whoever asks for an unknown one gets a LookupError.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

MG = "mg"
PC = "pc"
WASTE = "lens metal foreign dust purge moisture"
GOODS_WASTE = "metal foreign film paper dirt"
GOODS_OUT = f"kept buyers takers {GOODS_WASTE}"
"""Where a stream taken out of goods may go: kept in the house, sold, given on, or wasted."""

COUNTED_BY_COLUMN = frozenset({"box", "lot", "bin"})
"""Kinds of place whose postings count in named columns; elsewhere only "in" or "out" counts."""


class Effect(StrEnum):
    """What a mass in a column means for the cost of its class."""

    RECEIVED = "received"
    ISSUED = "issued"
    NORMAL = "normal"
    ODD = "odd"
    """Netted over the month: what is over comes in at no cost, what is short is written off."""


class WorthStep(StrEnum):
    """The step from opening to closing worth in which the cost of a movement is reported."""

    BOUGHT = "bought"
    RECOVERED = "recovered"
    CONVERTED = "converted"
    OTHERWISE = "otherwise"


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """A column of boxes and lots.

    `watched` is the figure of two months beside each other that it is part of, "" for none.
    `inside` says that it only goes from box to lot, so that it moves no stock.
    """

    effect: Effect
    watched: str
    inside: bool


def _into(effect: Effect, watched: str) -> Column:
    return Column(effect=effect, watched=watched, inside=False)


COLUMNS: Mapping[str, Column] = {
    "credited": _into(Effect.RECEIVED, "credited"),
    "feedstock": _into(Effect.RECEIVED, ""),
    "goods": _into(Effect.RECEIVED, ""),
    "virgin": _into(Effect.RECEIVED, ""),
    "in_process": _into(Effect.RECEIVED, ""),
    "taken_on": _into(Effect.RECEIVED, ""),
    # Both ends of one posting: within a class they cancel, so that grinding costs no mass.
    "ground_in": Column(effect=Effect.ODD, watched="", inside=True),
    "ground_out": Column(effect=Effect.ODD, watched="", inside=True),
    "dust": _into(Effect.NORMAL, "losses"),
    "purge": _into(Effect.NORMAL, "losses"),
    "moisture": _into(Effect.NORMAL, "losses"),
    "difference": _into(Effect.ODD, "losses"),
    "issued": _into(Effect.ISSUED, "issued"),
    "counted": _into(Effect.ODD, ""),
    # What turned out to be another polymer was never worth its class's average: it is written off.
    "picked_out": _into(Effect.ODD, ""),
}
"""Columns of boxes and lots, in the order of the report."""

MATERIAL = tuple(COLUMNS)
PARTS = ("received", "salvaged", "mends", "kits", "taken_on", "counted")
"""Columns of spare parts, in the order of the report."""

SHELVES = ("in", "out")
"""Columns of every other place."""

LOSSES = tuple(name for name, column in COLUMNS.items() if column.watched == "losses")
"""What a grind run does not give back as flake."""

Counted = str | Mapping[str, str] | None
"""A column, or origin of the place -> column, or None for an end that counts by direction only."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Leg:
    """One allowed step of a recipe, and the column that it counts in at each end."""

    source: str
    target: str
    unit: str
    at_source: Counted
    at_target: Counted

    # Checked when the module is read: a leg that touches stock and counts nowhere would leave a
    # report whose columns do not add up to the change of stock.
    def __post_init__(self) -> None:
        for kind, counted in self.ends:
            if (kind in COUNTED_BY_COLUMN) == (counted is None):
                raise ValueError(f"{self.source} to {self.target}: a column for {kind}?")

    @property
    def ends(self) -> tuple[tuple[str, Counted], tuple[str, Counted]]:
        """Both places' kinds, each with its column."""
        return (self.source, self.at_source), (self.target, self.at_target)


def _legs(
    unit: str,
    sources: str,
    targets: str,
    *,
    at_source: Counted = None,
    at_target: Counted = None,
) -> tuple[Leg, ...]:
    return tuple(
        Leg(source=source, target=target, unit=unit, at_source=at_source, at_target=at_target)
        for source in sources.split()
        for target in targets.split()
        if source != target
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """What a kind of movement means.

    `means` describes it in code and documents. `worth_step` is None for a kind that touches no
    box or lot. `alone` says that no frame, kit or run depends on it, so that it may be taken back
    by itself. `drawn` says that its grams are a stream in the picture of what returned frames
    became.
    `shows_rest` says that a difference comes with the reading of what lies there afterwards.
    """

    means: str
    legs: tuple[Leg, ...]
    worth_step: WorthStep | None
    alone: bool
    drawn: bool
    shows_rest: bool


_HOUSE = "arrivals hold bench"

KINDS: Mapping[str, Kind] = {
    "weigh_in": Kind(
        means="a frame came through the door and was put on the scale",
        legs=_legs(MG, "wearers", "arrivals"),
        worth_step=None,
        alone=False,
        drawn=True,
        shows_rest=False,
    ),
    "join_part": Kind(
        means="a part that came later was weighed and joined its frame where that lies",
        legs=_legs(MG, "wearers", _HOUSE),
        worth_step=None,
        alone=False,
        drawn=True,
        shows_rest=False,
    ),
    "carry": Kind(
        means="a frame, or what is left of it, went between shelf, hold and bench",
        legs=_legs(MG, _HOUSE, _HOUSE),
        worth_step=None,
        alone=False,
        drawn=True,
        shows_rest=False,
    ),
    "fit_part": Kind(
        means="a part left its bin or the salvage into a frame; the broken one came off",
        legs=(
            # A bin counts pieces and a bench weighs, so a new part is two postings: its piece
            # leaves for the customer at once, and its grams come onto the bench over the boundary.
            *_legs(PC, "bin", "wearers", at_source="mends"),
            *_legs(MG, "press salvage", "bench"),
            *_legs(MG, "bench", WASTE),
        ),
        worth_step=None,
        alone=False,
        drawn=True,
        shows_rest=False,
    ),
    "post_frame": Kind(
        means="a frame was weighed out and posted; what the scale disagrees on stays unexplained",
        legs=(
            *_legs(MG, _HOUSE, "wearers unexplained"),
            *_legs(MG, "unexplained", _HOUSE),
        ),
        worth_step=None,
        alone=False,
        drawn=True,
        shows_rest=True,
    ),
    "strip_down": Kind(
        means="a frame was taken apart: box, salvage, lenses, metal, foreign, unexplained",
        legs=(
            *_legs(MG, _HOUSE, "box", at_target="credited"),
            *_legs(MG, _HOUSE, f"salvage unexplained wearers {WASTE}"),
            *_legs(MG, "unexplained", _HOUSE),
            *_legs(PC, "wearers", "bin", at_target="salvaged"),
        ),
        worth_step=WorthStep.RECOVERED,
        alone=False,
        drawn=True,
        shows_rest=True,
    ),
    "receive_parts": Kind(
        means="parts came from a supplier into their bin",
        legs=_legs(PC, "sellers", "bin", at_target="received"),
        worth_step=None,
        alone=True,
        drawn=False,
        shows_rest=False,
    ),
    "post_kit": Kind(
        means="a spare kit left its bin for a customer",
        legs=_legs(PC, "bin", "wearers", at_source="kits"),
        worth_step=None,
        alone=False,
        drawn=False,
        shows_rest=False,
    ),
    "count_parts": Kind(
        means="a bin was counted",
        legs=(
            *_legs(PC, "bin", "unexplained", at_source="counted"),
            *_legs(PC, "unexplained", "bin", at_target="counted"),
        ),
        worth_step=None,
        alone=True,
        drawn=False,
        shows_rest=False,
    ),
    "receive_feedstock": Kind(
        means="bought material came into a box or a lot",
        legs=_legs(
            MG,
            "sellers",
            "box lot",
            at_target={
                "post_consumer_return": "feedstock",
                "post_consumer_feedstock": "feedstock",
                "in_process": "in_process",
                "virgin": "virgin",
            },
        ),
        worth_step=WorthStep.BOUGHT,
        alone=True,
        drawn=False,
        shows_rest=False,
    ),
    "receive_goods": Kind(
        means="a load of used goods came in and was weighed as it was",
        legs=_legs(MG, "givers", "sorting"),
        worth_step=None,
        alone=False,
        # The picture that this speaks of is that of returned frames; goods have their own.
        drawn=False,
        shows_rest=False,
    ),
    "sort_goods": Kind(
        means="goods were taken apart: box, streams taken out, and what was washed and dried off",
        legs=(
            *_legs(MG, "sorting", "box", at_target="goods"),
            *_legs(MG, "sorting", f"{GOODS_OUT} washed"),
            *_legs(MG, "unexplained", "sorting"),
        ),
        worth_step=WorthStep.BOUGHT,
        alone=False,
        drawn=False,
        shows_rest=False,
    ),
    "pick_out": Kind(
        means="what turned out to be another polymer left its box or lot again",
        legs=_legs(MG, "box lot", GOODS_OUT, at_source="picked_out"),
        worth_step=WorthStep.OTHERWISE,
        alone=False,
        drawn=False,
        shows_rest=False,
    ),
    "pass_on": Kind(
        means="a stream that was kept was sold, given on or wasted",
        legs=_legs(MG, "kept", f"buyers takers {GOODS_WASTE}"),
        worth_step=None,
        alone=False,
        drawn=False,
        shows_rest=False,
    ),
    "return_scrap": Kind(
        means="in-process scrap came back from moulding into its own box, or spoiled into waste",
        legs=(
            *_legs(MG, "press", "box", at_target="in_process"),
            *_legs(MG, "press", "foreign"),
        ),
        worth_step=WorthStep.OTHERWISE,
        alone=True,
        drawn=False,
        shows_rest=False,
    ),
    "press_purge": Kind(
        means="what a colour change or a purge left at the press, to its own box or to waste",
        legs=(
            *_legs(MG, "press", "box", at_target="in_process"),
            *_legs(MG, "press", "purge"),
        ),
        worth_step=WorthStep.OTHERWISE,
        alone=True,
        drawn=False,
        shows_rest=False,
    ),
    "grind": Kind(
        means="a box became a lot and losses; what does not add up stays unexplained",
        legs=(
            *_legs(MG, "box", "lot", at_source="ground_out", at_target="ground_in"),
            *_legs(MG, "box", "dust", at_source="dust"),
            *_legs(MG, "box", "purge", at_source="purge"),
            *_legs(MG, "box", "moisture", at_source="moisture"),
            *_legs(MG, "box", "unexplained", at_source="difference"),
            *_legs(MG, "unexplained", "box", at_target="difference"),
        ),
        worth_step=WorthStep.CONVERTED,
        alone=False,
        drawn=True,
        shows_rest=False,
    ),
    "issue": Kind(
        means="flake went to moulding",
        legs=_legs(MG, "lot", "press", at_source="issued"),
        worth_step=WorthStep.OTHERWISE,
        alone=True,
        drawn=True,
        shows_rest=False,
    ),
    "count_mass": Kind(
        means="a box, lot or shelf was weighed again",
        legs=(
            *_legs(MG, "box lot", "unexplained", at_source="counted"),
            *_legs(MG, "unexplained", "box lot", at_target="counted"),
            *_legs(MG, f"salvage {_HOUSE}", "unexplained"),
            *_legs(MG, "unexplained", f"salvage {_HOUSE}"),
        ),
        worth_step=WorthStep.OTHERWISE,
        alone=True,
        drawn=True,
        shows_rest=True,
    ),
    "opening": Kind(
        means="stock that was there before the ledger began",
        legs=(
            *_legs(MG, "unexplained", "box lot", at_target="taken_on"),
            *_legs(MG, "unexplained", "salvage"),
            *_legs(PC, "unexplained", "bin", at_target="taken_on"),
        ),
        worth_step=WorthStep.OTHERWISE,
        alone=True,
        # It lay there before the books began.
        drawn=False,
        shows_rest=False,
    ),
    "dispose": Kind(
        means="waste left the house",
        legs=(
            *_legs(MG, f"{WASTE} film paper dirt washed", "sellers"),
            *_legs(MG, "salvage", WASTE),
        ),
        worth_step=None,
        alone=True,
        # What is carted off was counted when it arose.
        drawn=False,
        shows_rest=False,
    ),
}

_ALLOWED = {
    (kind, leg.source, leg.target, leg.unit) for kind, row in KINDS.items() for leg in row.legs
}
# Both directions: a reversal finds here the column of what it reverses, without a row of its own.
_COUNTED = {
    (kind, here, there): counted
    for kind, row in KINDS.items()
    for leg in row.legs
    for (here, counted), (there, _other) in (leg.ends, leg.ends[::-1])
    if counted is not None
}


def allows(kind: str, source: str, target: str, unit: str) -> bool:
    """Return whether `kind` may move `unit` from a place of kind `source` to a `target`."""
    return (kind, source, target, unit) in _ALLOWED


def column(kind: str, here: str, there: str, origin: str) -> str:
    """Return the column that a posting counts in at a box, lot or bin, seen from there.

    `here` and `there` are the kinds of its two places, `origin` that of the material here. A
    reversal swaps source and target, so it lands in the column of what it reverses, with the
    opposite sign. LookupError for what no recipe has.
    """
    counted = _COUNTED[kind, here, there]
    return counted if isinstance(counted, str) else counted[origin]
