"""Movement kinds and what each may move: from which kind of place, to which, in which unit.

A movement whose posting is not in its kind's recipe is refused. Adding a kind is adding a row
here and a line in the glossary; the ledger itself does not change.
"""

from __future__ import annotations

from dataclasses import dataclass

MG = "mg"
PC = "pc"


@dataclass(frozen=True, slots=True)
class Leg:
    """One allowed step of a recipe."""

    source: str
    target: str
    unit: str


def _legs(unit: str, sources: str, targets: str) -> frozenset[Leg]:
    return frozenset(
        Leg(source, target, unit)
        for source in sources.split()
        for target in targets.split()
        if source != target
    )


WASTE = "lens metal foreign dust purge moisture"

KINDS: dict[str, frozenset[Leg]] = {
    # A frame comes through the door and is weighed.
    "weigh_in": _legs(MG, "customers", "arrivals"),
    # A frame is carried: shelf to hold, shelf or hold to bench, and back.
    "carry": _legs(MG, "arrivals hold bench", "arrivals hold bench"),
    # Parts leave their bin into a frame; their mass joins the bench. Broken parts come off.
    "fit_part": _legs(PC, "bin", "customers")
    | _legs(MG, "production salvage", "bench")
    | _legs(MG, "bench", WASTE),
    # A frame is weighed out and posted; what the scale disagrees on is a count difference.
    "post_frame": _legs(MG, "bench arrivals hold", "customers difference")
    | _legs(MG, "difference", "bench arrivals hold"),
    # A frame is taken apart for grinding; every gram gets a place.
    "strip_down": _legs(MG, "bench arrivals hold", f"box salvage difference customers {WASTE}")
    | _legs(MG, "difference", "bench arrivals hold")
    | _legs(PC, "customers", "bin"),
    # Parts come from a supplier, go out in a kit, or are counted.
    "receive_parts": _legs(PC, "suppliers", "bin"),
    "post_kit": _legs(PC, "bin", "customers"),
    "count_parts": _legs(PC, "bin", "difference") | _legs(PC, "difference", "bin"),
    # Material comes in from outside.
    "receive_feedstock": _legs(MG, "suppliers", "box lot"),
    "return_scrap": _legs(MG, "production", "box"),
    # A box becomes a lot and losses; what does not add up is a count difference.
    "grind": _legs(MG, "box", "lot dust purge moisture difference")
    | _legs(MG, "difference", "box"),
    # Flake goes to moulding.
    "issue": _legs(MG, "lot", "production"),
    # A stock count finds more or less than the ledger says.
    "count_mass": _legs(MG, "box lot salvage arrivals hold bench", "difference")
    | _legs(MG, "difference", "box lot salvage arrivals hold bench"),
    # Stock that was there before the ledger began.
    "opening": _legs(MG, "difference", "box lot salvage") | _legs(PC, "difference", "bin"),
    # Waste leaves the house.
    "dispose": _legs(MG, WASTE, "suppliers") | _legs(MG, "salvage", WASTE),
}
"""Kind of movement -> its legs."""


def allows(kind: str, source: str, target: str, unit: str) -> bool:
    """Whether `kind` may move `unit` from a place of kind `source` to one of kind `target`."""
    return Leg(source, target, unit) in KINDS[kind]
