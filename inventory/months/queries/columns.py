"""Which column of the report a posting counts in, seen from one of its two places.

A reversal swaps source and target but keeps its kind, so it lands in the column of what it
reverses with the opposite sign. Data, not code: a kind without an entry here shows as a row that
does not tie out, and a test walks all recipes.
"""

from __future__ import annotations

OPENING = "opening"
CLOSING = "closing"

MATERIAL = (
    "credited",
    "feedstock",
    "virgin",
    "in_process",
    "taken_on",
    "ground_in",
    "ground_out",
    "dust",
    "purge",
    "moisture",
    "difference",
    "issued",
    "counted",
)
"""Columns of boxes and lots, in the order of the report."""

PARTS = ("received", "salvaged", "mends", "kits", "taken_on", "counted")
"""Columns of spare parts."""

SHELVES = ("in", "out")
"""Columns of every other place."""

LOSSES = ("dust", "purge", "moisture", "difference")
"""What a grind run does not give back as flake."""

_BY_KIND = {
    "strip_down": "credited",
    "return_scrap": "in_process",
    "opening": "taken_on",
    "issue": "issued",
    "count_mass": "counted",
}
_FEEDSTOCK = {"virgin": "virgin", "in_process": "in_process"}
_GROUND = {
    ("box", "lot"): "ground_out",
    ("lot", "box"): "ground_in",
    ("box", "dust"): "dust",
    ("box", "purge"): "purge",
    ("box", "moisture"): "moisture",
    ("box", "difference"): "difference",
}
_OF_PARTS = {
    "receive_parts": "received",
    "strip_down": "salvaged",
    "fit_part": "mends",
    "post_kit": "kits",
    "opening": "taken_on",
    "count_parts": "counted",
}


def of_material(kind: str, here: str, there: str, origin: str) -> str | None:
    """The column for a box or lot: place kinds `here` and `there`, the origin of `here`."""
    if kind == "receive_feedstock":
        return _FEEDSTOCK.get(origin, "feedstock")
    if kind == "grind":
        return _GROUND.get((here, there))
    return _BY_KIND.get(kind)


def of_parts(kind: str) -> str | None:
    """The column for a spare-part bin."""
    return _OF_PARTS.get(kind)


def of_shelf(signed: int) -> str:
    """The column of any other place: by direction only."""
    return "in" if signed > 0 else "out"
