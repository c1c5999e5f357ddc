"""Puts the recovered-material report of a month together from postings and frozen figures.

The same month gives the same figures for ever once it is closed: what could change later (prices,
names, the workshop's address) is read from what its close froze.
"""

from __future__ import annotations

import dataclasses
import hashlib
import json
from collections.abc import Mapping
from typing import Any

from django.utils import timezone

from inventory.models import Colour, GoodsKind, Part, Place, Polymer, Scale, SpoilCause, Workshop
from inventory.models.places import BOUNDARY
from inventory.months.queries import months, replays
from inventory.months.queries.entries import MATERIAL_KINDS
from inventory.months.queries.recovered import (
    beyond,
    corrections,
    flows,
    parts_worth,
    tallies,
    worth,
)
from inventory.months.queries.recovered.shapes import (
    Cell,
    Class,
    Flows,
    Frames,
    MaterialRow,
    PartRow,
    Posted,
    Report,
    ShelfRow,
)
from inventory.months.queries.replays import MonthReplay
from inventory.weighing.sums.traced import MassUncertainty

EDITION = 3
"""Grows when the meaning of a figure changes; a closed month keeps the edition of its close."""
BEYOND_SINCE = 2
"""The first edition with goods, outgoing streams and scrap by cause."""
BOOKS_SINCE = 3
"""The first edition with a policy of write-downs, costs in accounts of their own, the worth of
parts, and what the month corrects of earlier ones."""


def of_month(label: str, replay: MonthReplay | None = None) -> Report:
    """Return the report of a month, open or closed; `replay` is that month, where it is at hand.

    Raises NotFound when the label names no month.
    """
    months.parsed(label)
    closed = months.closed(label)
    replay = replay or replays.replayed([label])[label]
    return build(replay, closed.figures if closed else frozen_now())


def frozen_now() -> dict[str, Any]:
    """Return what a close at this moment would freeze, except the closing values."""
    workshop = Workshop.the()
    return {
        "edition": EDITION,
        "currency": workshop.currency,
        "zone": str(timezone.get_default_timezone()),
        "workshop": workshop.name,
        "address": workshop.address,
        "labour_minor_per_hour": workshop.labour_minor_per_hour,
        "prices": worth.prices(),
        "write_down": dataclasses.asdict(worth.policy()),
        "names": {
            "polymers": dict(Polymer.objects.values_list("code", "name")),
            "colours": dict(Colour.objects.values_list("code", "name")),
            "parts": dict(Part.objects.values_list("code", "name")),
            "scales": {str(pk): name for pk, name in Scale.objects.values_list("pk", "name")},
            "goods": GoodsKind.own(),
            "causes": SpoilCause.own(),
        },
    }


def build(replay: MonthReplay, frozen: Mapping[str, Any]) -> Report:
    """Return the report of a month as it was replayed, with the given frozen figures."""
    masses = flows.masses(replay)
    moved = flows.of_places(replay, masses)
    material, shelves = _material(replay.places, moved), _shelves(replay.places, moved)
    by_class: dict[Class, list[MaterialRow]] = {}
    by_origin: dict[str, list[MaterialRow]] = {}
    for row in material:
        by_class.setdefault(row.material, []).append(row)
        by_origin.setdefault(row.material.origin, []).append(row)
    known = worth.known(replay, {key: flows.summed(rows, masses) for key, rows in by_class.items()})
    opened = worth.opening(replay.label, replay.places)
    terms = worth.of_close(frozen)
    valued = worth.value(replay.entries, opened, terms, known)
    # A month that was closed before parts had a worth, or there was a policy, keeps its figures.
    has_books = frozen["edition"] >= BOOKS_SINCE
    valued_parts = _valued_parts(replay) if has_books else parts_worth.Valued()
    scales = frozen["names"]["scales"]
    data = {row.place for row in material} | {row.place for row in shelves}
    return Report(
        label=replay.label,
        currency=frozen["currency"],
        workshop=frozen["workshop"],
        address=frozen["address"],
        zone=frozen["zone"],
        edition=frozen["edition"],
        names=frozen["names"],
        material=material,
        shelves=shelves,
        parts=_parts(replay.places, moved, frozen["names"]["parts"]),
        settled={place: flows.known(cells) for place, cells in masses.items() if place not in data},
        total=flows.total(material, masses),
        classes=tuple((key, flows.total(rows, masses)) for key, rows in sorted(by_class.items())),
        origins=tuple((key, flows.total(rows, masses)) for key, rows in sorted(by_origin.items())),
        frames=tallies.frames(replay),
        trust=tallies.trust(replay.entries, scales),
        worth=valued.worth,
        journal=valued.journal,
        unvalued=(*valued.unvalued, *valued_parts.unvalued),
        late=tallies.late(replay),
        corrections=corrections.made_in(replay.label),
        movements=len({entry.number for entry in replay.entries}),
        flags=tallies.flags(replay.entries, scales),
        postings=_postings(replay),
        # A month that was closed before there was such a thing has none, and keeps its digest.
        beyond=beyond.rows(replay) if frozen["edition"] >= BEYOND_SINCE else (),
        write_down=terms.write_down,
        parts_worth=valued_parts.worth,
        parts_journal=valued_parts.journal,
    )


def _valued_parts(replay: MonthReplay) -> parts_worth.Valued:
    return parts_worth.value(replay.entries, parts_worth.opening(replay.label, replay.places))


def parts_at_close(report: Report) -> list[list[Any]]:
    """Return the closing values of the parts in the form that a close freezes."""
    return parts_worth.freeze_held(report.parts_worth)


def held_at_close(report: Report) -> list[list[list[Any]]]:
    """Return the closing values of a report in the form that a close freezes."""
    return worth.freeze_held(worth.Valued(report.worth, (), ()).held)


# A field more or less would change the digest of every month that is closed.
_AS_THEY_ARE = (
    *("label", "currency", "workshop", "address", "zone", "edition", "names", "frames", "trust"),
    *("worth", "journal", "unvalued", "late", "movements", "flags"),
)
_BOOKS = ("corrections", "write_down", "parts_worth", "parts_journal")


def canonical(report: Report) -> str:
    """Return the figures as JSON in one fixed form: sorted keys, no spaces, integers only.

    The uncertainty of each mass stands apart from it, by row and column, without those of none.
    """
    plain = {name: getattr(report, name) for name in _AS_THEY_ARE}
    for name in ("material", "shelves", "parts"):
        plain[name] = [_plain_row(row) for row in getattr(report, name)]
    plain["known"] = {**report.settled, **_known_by_row(report)}
    if report.edition >= BEYOND_SINCE:
        plain["beyond"] = report.beyond
    if report.edition >= BOOKS_SINCE:
        plain |= {name: getattr(report, name) for name in _BOOKS}
    return json.dumps(
        plain,
        default=dataclasses.asdict,
        sort_keys=True,
        ensure_ascii=False,
        separators=(",", ":"),
    )


def digest(report: Report) -> str:
    """Return the SHA-256 of the canonical figures, hex."""
    return hashlib.sha256(canonical(report).encode()).hexdigest()


def _plain_row(row: MaterialRow | ShelfRow | PartRow) -> dict[str, Any]:
    plain = {field.name: getattr(row, field.name) for field in dataclasses.fields(row)}
    edges = {"opening": row.flows.opening, "closing": row.flows.closing}
    if isinstance(row, ShelfRow) and row.kind in BOUNDARY:
        # A place's code is given once, but the words for these kinds were chosen anew: told by its
        # code, a month that was closed under the old words still has its digest.
        plain["kind"] = row.place
    return plain | {"flows": {"cells": row.flows.cells, **edges}}


def _known_by_row(report: Report) -> Mapping[str, Mapping[str, MassUncertainty]]:
    known = {row.place: row.flows.known for row in report.material}
    known |= {row.place: row.flows.known for row in report.shelves}
    known |= {f"class {key}": flows.known for key, flows in report.classes}
    known |= {f"origin {key}": flows.known for key, flows in report.origins}
    return known | ({"total": report.total.known} if report.material else {})


def _postings(replay: MonthReplay) -> tuple[Posted, ...]:
    known = {(entry.number, entry.line): mass.known() for entry, mass in replay.moved}
    return tuple(Posted(entry, known.get((entry.number, entry.line))) for entry in replay.entries)


def _material(places: Mapping[int, Place], flows: Mapping[int, Flows]) -> tuple[MaterialRow, ...]:
    rows = [
        MaterialRow(
            place=place.code,
            kind=place.kind,
            name=place.lot.code if place.lot else place.code,
            material=worth.class_of(place),
            flows=flows[place.pk],
        )
        for place in places.values()
        if place.kind in MATERIAL_KINDS and place.pk in flows
    ]
    # A fixed order: the canonical form lists rows as they come, and the digest is over that.
    return tuple(sorted(rows, key=lambda row: (row.material, row.kind, row.place)))


def _shelves(places: Mapping[int, Place], flows: Mapping[int, Flows]) -> tuple[ShelfRow, ...]:
    rows = [
        ShelfRow(place.code, place.kind, flows[place.pk])
        for place in places.values()
        if place.kind not in MATERIAL_KINDS and place.unit == "mg" and place.pk in flows
    ]
    return tuple(sorted(rows, key=lambda row: row.place))


def _parts(
    places: Mapping[int, Place], flows: Mapping[int, Flows], names: Mapping[str, str]
) -> tuple[PartRow, ...]:
    rows = [
        PartRow(place.code, place.part.code, names.get(place.part.code, place.part.code), flows[pk])
        for pk, place in places.items()
        if place.kind == "bin" and place.part is not None and pk in flows
    ]
    return tuple(sorted(rows, key=lambda row: row.part))


def cell(report: Report, row: str, column: str) -> Cell | None:
    """Return one figure of the report by the codes of its row and column; None without one."""
    flows = flows_of(report, row)
    if flows is None:
        return None
    edges = {"opening": Cell(flows.opening), "closing": Cell(flows.closing)}
    return edges.get(column) or flows.cells.get(column)


def flows_of(report: Report, row: str) -> Flows | None:
    """Return the flows of a row: a place's code, "total", or "frames"."""
    if row == "total":
        return report.total
    if row == "frames":
        names = [field.name for field in dataclasses.fields(Frames)]
        return Flows(0, {name: getattr(report.frames, name) for name in names}, 0, {})
    beyond_rows = {one.key: one.flows for one in report.beyond}
    return dict(report.rows).get(row) or beyond_rows.get(row)
