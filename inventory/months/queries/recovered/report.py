"""Puts the recovered-material report of a month together from postings and frozen figures.

The same month gives the same figures for ever once it is closed: what could change later (prices,
names, the workshop's address) is read from what its close froze.
"""

from __future__ import annotations

import dataclasses
import hashlib
import json
from collections.abc import Iterable, Mapping
from typing import Any

from django.utils import timezone

from inventory.ledger.queries import balances
from inventory.models import Colour, Part, Place, Polymer, Scale, Workshop
from inventory.months.queries import months
from inventory.months.queries.entries import MATERIAL_KINDS
from inventory.months.queries.followed import Followed
from inventory.months.queries.recovered import confidence, flows, tallies, worth
from inventory.months.queries.recovered.shapes import (
    Cell,
    Flows,
    MaterialRow,
    PartRow,
    Report,
    ShelfRow,
)

EDITION = 3
"""Grows when the meaning of a figure changes; a closed month keeps the edition of its close.

1: the uncertainty of the credited mass only. 2: every mass says how well it is known. 3: what a
reversal takes back of an earlier month is the same readings with the other sign, and they cancel;
what is empty is known without doubt, so that a month opens as the one before it closed; late
movements and the masses behind the worth say how well they are known too.
"""
STATED_EVERYWHERE_FROM = 3
ADDED_IN_2 = frozenset(
    {"edition", "known", "flags", "bought_minor", "recovered_minor", "converted_minor"}
)


def of_month(label: str, followed: Followed | None = None) -> Report:
    """The report of a month, open or closed; `followed` has this month in it.

    NotFound when the label names no month.
    """
    months.parsed(label)
    closed = months.closed(label)
    return build(label, closed.figures if closed else frozen_now(), followed)


def frozen_now() -> dict[str, Any]:
    """What a close at this moment would freeze, but for the closing values."""
    workshop = Workshop.the()
    return {
        "edition": EDITION,
        "currency": workshop.currency,
        "zone": str(timezone.get_default_timezone()),
        "workshop": workshop.name,
        "address": workshop.address,
        "labour_minor_per_hour": workshop.labour_minor_per_hour,
        "prices": worth.prices(),
        "names": {
            "polymers": dict(Polymer.objects.values_list("code", "name")),
            "colours": dict(Colour.objects.values_list("code", "name")),
            "parts": dict(Part.objects.values_list("code", "name")),
            "scales": {str(pk): name for pk, name in Scale.objects.values_list("pk", "name")},
        },
    }


def build(label: str, frozen: Mapping[str, Any], followed: Followed | None = None) -> Report:
    """The report of a month with the given frozen figures; `followed` has this month in it."""
    followed = followed or Followed([label])
    places, found = followed.places, followed.found(label)
    moved = flows.of_places(found, balances.at_start(label), balances.at_close(label))
    material = _material(places, moved)
    edition = frozen.get("edition", 1)
    totals = confidence.totals(label, followed, material) if edition > 1 else {}
    valued = worth.value(found, worth.opening(label), frozen["prices"])
    return Report(
        label=label,
        currency=frozen["currency"],
        workshop=frozen["workshop"],
        address=frozen["address"],
        zone=frozen["zone"],
        edition=edition,
        names=frozen["names"],
        material=material,
        shelves=_shelves(places, moved),
        parts=_parts(places, moved, frozen["names"]["parts"]),
        frames=tallies.frames(label, found, followed.on_hold(label) if edition > 1 else None),
        trust=tallies.trust(found, frozen["names"]["scales"]),
        worth=valued.worth,
        journal=valued.journal,
        unvalued=valued.unvalued,
        late=tallies.late(label),
        movements=len({entry.number for entry in found}),
        known=confidence.known(label, followed, totals) if edition > 1 else {},
        flags=tallies.flags(found, frozen["names"]["scales"]) if edition > 1 else (),
        totals=totals,
        followed=followed,
    )


def held_at_close(report: Report) -> list[list[list[Any]]]:
    """The closing values of a report, as a close freezes them."""
    return worth.freeze_held(worth.Valued(report.worth, (), ()).held)


def canonical(report: Report) -> str:
    """The figures as JSON in one fixed form: sorted keys, no spaces, integers only."""
    figures = dataclasses.replace(report, totals={}, followed=Followed([]))
    plain = dataclasses.asdict(figures, dict_factory=_plain)
    del plain["totals"], plain["followed"]
    if report.edition == 1:
        plain = _without(plain, ADDED_IN_2)
        plain["worth"] = [_without(row, ADDED_IN_2) for row in plain["worth"]]
    if report.edition >= STATED_EVERYWHERE_FROM:
        late, worths = confidence.of_late(report), confidence.of_worth(report)
        for row, told in zip(plain["late"], report.late, strict=True):
            row["known"] = dataclasses.asdict(late[told.number])
        for row, line in zip(plain["worth"], report.worth, strict=True):
            known = worths[line.material].items()
            row["known"] = {name: dataclasses.asdict(mass) for name, mass in known}
    return json.dumps(plain, sort_keys=True, ensure_ascii=False, separators=(",", ":"))


def digest(report: Report) -> str:
    """SHA-256 of the canonical figures, hex."""
    return hashlib.sha256(canonical(report).encode()).hexdigest()


def _without(plain: Mapping[str, Any], names: frozenset[str]) -> dict[str, Any]:
    return {name: figure for name, figure in plain.items() if name not in names}


def _plain(pairs: Iterable[tuple[str, Any]]) -> dict[str, Any]:
    return dict(pairs)


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
    """One figure of the report by the codes of its row and column; None where there is none."""
    flows = flows_of(report, row)
    if flows is None:
        return None
    edges = {"opening": Cell(flows.opening), "closing": Cell(flows.closing)}
    return edges.get(column) or flows.cells.get(column)


def flows_of(report: Report, row: str) -> Flows | None:
    """The flows of a row: a place's code, "total", or "frames"."""
    if row == "total":
        return report.total
    if row == "frames":
        return Flows(0, {f.name: getattr(report.frames, f.name) for f in _frame_fields()}, 0)
    return dict(report.rows).get(row)


def _frame_fields() -> Iterable[dataclasses.Field[Any]]:
    from inventory.months.queries.recovered.shapes import Frames

    return dataclasses.fields(Frames)
