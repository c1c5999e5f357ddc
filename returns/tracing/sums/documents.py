"""Turns what happened into event documents. Knows no table: the queries hand it plain data."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final
from urllib.parse import quote
from uuid import UUID
from zoneinfo import ZoneInfo

from returns.tracing.sums.hashing import event_hash
from returns.tracing.sums.steps import BY_SIDE, OWN, STEPS, TOLD, Names, Step, Type

PREFIX: Final = "hingeback"
CONTEXT: Final = "https://ref.gs1.org/standards/epcis/2.0.0/epcis-context.jsonld"
MG_PER_KG: Final = 1_000_000
UG_PER_KG: Final = 1_000_000_000
Document = dict[str, Any]


@dataclass(frozen=True, slots=True)
class End:
    """One side of a posting. `code` is what its label says, "" for what has none."""

    kind: str
    code: str
    is_inside: bool


@dataclass(frozen=True, slots=True)
class Weighed:
    """A reading: mass in mg, its combined standard uncertainty in µg."""

    mass_mg: int
    u_ug: float
    scale: int
    at: datetime


@dataclass(frozen=True, slots=True)
class Line:
    """A posting: `quantity` in mg, or in pieces where `is_pieces`."""

    source: End
    target: End
    quantity: int
    is_pieces: bool
    weighed: Weighed | None


@dataclass(frozen=True, slots=True)
class Moved:
    """A movement of the ledger. `taken_back_at` is when it was reversed, if it was."""

    key: UUID
    number: int
    kind: str
    subject: str
    at: datetime
    recorded_at: datetime
    lines: tuple[Line, ...]
    mean_passes: float | None
    taken_back_at: datetime | None


@dataclass(frozen=True, slots=True)
class Noted:
    """An event of the history. `detail` is what the rule left in it."""

    key: UUID
    name: str
    subject: str
    at: datetime
    detail: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class House:
    """Web addresses under which this house names its things, and its clock."""

    base: str
    zone: ZoneInfo

    @property
    def own(self) -> str:
        return f"{self.base}/traceability/#"

    def coded(self, code: str) -> str:
        """Return the address of what bears a code."""
        return f"{self.base}/go/{quote(code, safe='')}/"

    def term(self, word: str) -> str:
        return f"{self.own}{word}"

    def place(self, end: End) -> str:
        return self.coded(end.code) if end.code else self.term(f"place-{end.kind}")

    def material(self, end: End) -> str:
        return self.coded(end.code) if end.code else self.term(f"class-{end.kind}")


def of_movement(moved: Moved, house: House) -> list[Document]:
    """Return the events of a movement, most often one. LookupError for a kind without a row."""
    step = STEPS[moved.kind]
    bodies = _BY_TYPE[step.type](moved, step, house)
    return [_whole(moved, step, house, body) for body in bodies]


def of_note(noted: Noted, house: House) -> list[Document]:
    """Return the events of an entry of the history; none where nothing was unpacked."""
    step = TOLD[noted.name]
    body = _NOTED[noted.name](noted, house)
    if body is None:
        return []
    action = {"action": step.action} if step.action else {}
    disposition = body.pop("disposition", step.disposition)
    return [
        _closed(
            {
                "type": str(step.type),
                **_times(noted.at, noted.at, house),
                **body,
                **action,
                "bizStep": _word(step.biz_step, house),
                **({"disposition": disposition} if disposition else {}),
            },
            house,
        )
    ]


def document(events: Sequence[Document], house: House, at: datetime) -> Document:
    """Return a file of events, as EPCIS 2.0 (GS1, 2022) has it."""
    return {
        **_head(house, at, "EPCISDocument"),
        "epcisBody": {"eventList": list(events)},
    }


def answer(events: Sequence[Document], house: House, at: datetime) -> Document:
    """Return the answer to a query, as the REST bindings of EPCIS 2.0 have it."""
    results = {"queryName": "SimpleEventQuery", "resultsBody": {"eventList": list(events)}}
    return {**_head(house, at, "EPCISQueryDocument"), "epcisBody": {"queryResults": results}}


def _head(house: House, at: datetime, kind: str) -> Document:
    return {
        "@context": [CONTEXT, {PREFIX: house.own}],
        "type": kind,
        "schemaVersion": "2.0",
        "creationDate": _iso(at, house),
    }


def _whole(moved: Moved, step: Step, house: House, body: Document) -> Document:
    readings = [line.weighed for line in moved.lines if line.weighed]
    disposition = body.pop("disposition", step.disposition)
    biz_step = body.pop("bizStep", step.biz_step)
    taken_back = moved.taken_back_at
    return _closed(
        {
            "type": str(step.type),
            **_times(moved.at, moved.recorded_at, house),
            **body,
            "bizStep": _word(biz_step, house),
            **({"disposition": disposition} if disposition else {}),
            **(
                {"sensorElementList": [_sensor(one, house) for one in readings]} if readings else {}
            ),
            f"{PREFIX}:movement": moved.number,
            **({"errorDeclaration": _mistaken(taken_back, house)} if taken_back else {}),
        },
        house,
    )


def _closed(event: Document, house: House) -> Document:
    return {"eventID": event_hash(event, {PREFIX: house.own}), **event}


def _mistaken(at: datetime, house: House) -> Document:
    return {"declarationTime": _iso(at, house), "reason": "incorrect_data"}


def _times(at: datetime, recorded_at: datetime, house: House) -> Document:
    offset = at.astimezone(house.zone).strftime("%z")
    return {
        "eventTime": _iso(at, house),
        "eventTimeZoneOffset": f"{offset[:3]}:{offset[3:]}",
        "recordTime": _iso(recorded_at, house),
    }


def _iso(at: datetime, house: House) -> str:
    return at.astimezone(house.zone).isoformat(timespec="milliseconds")


def _word(word: str, house: House) -> str:
    return house.term(word.removeprefix(OWN)) if word.startswith(OWN) else word


def _sensor(read: Weighed, house: House) -> Document:
    return {
        "sensorMetadata": {
            "time": _iso(read.at, house),
            "deviceID": house.term(f"scale-{read.scale}"),
        },
        "sensorReport": [
            {
                "type": "Mass",
                "value": read.mass_mg / MG_PER_KG,
                # The standard uncertainty (k = 1), not the expanded one that people read.
                "sDev": round(read.u_ug) / UG_PER_KG,
                "uom": "KGM",
            }
        ],
    }


def _objects(moved: Moved, step: Step, house: House) -> Iterator[Document]:
    if step.names is Names.FRAME:
        where = _where(moved.lines[0], house)
        yield {"epcList": [house.coded(moved.subject)], "action": step.action, **where}
        return
    for action in ("ADD", "OBSERVE", "DELETE"):
        lines = [line for line in moved.lines if _action(line, step) == action]
        if not lines:
            continue
        masses = [(_stock(line, moved, step, house), line) for line in lines]
        yield {
            "quantityList": _quantities(masses),
            "action": action,
            **_where(lines[0], house, gone=action == "DELETE"),
        }


def _transformations(moved: Moved, step: Step, house: House) -> Iterator[Document]:
    epcs = {"inputEPCList": [house.coded(moved.subject)]} if step.names is Names.FRAME else {}
    inputs = _quantities(_inputs(moved, step, house))
    joins = step.names is Names.INTO_SUBJECT
    name = house.coded(moved.subject) if joins and moved.subject else moved.key.urn
    outputs = (
        [] if joins else _quantities((house.material(line.target), line) for line in moved.lines)
    )
    heat = moved.mean_passes
    yield {
        **epcs,
        **({"inputQuantityList": inputs} if inputs else {}),
        **({"outputQuantityList": outputs} if outputs else {}),
        "transformationID": name,
        **({"ilmd": {f"{PREFIX}:meanHeatPasses": heat}} if heat is not None else {}),
    }


def _associations(moved: Moved, _step: Step, house: House) -> Iterator[Document]:
    """A part that is fitted, and what came off for it."""
    fitted = [line for line in moved.lines if line.is_pieces or not _comes_off(line)]
    pieces = [line for line in fitted if line.is_pieces]
    # A new part is booked twice, as a piece and as grams; it is told by its piece.
    named = pieces or fitted
    off = [line for line in moved.lines if not line.is_pieces and _comes_off(line)]
    parent = {"parentID": house.coded(moved.subject)}
    if named:
        parts = _quantities((house.material(line.source), line) for line in named)
        yield {**parent, "childQuantityList": parts, "action": "ADD"}
    if off:
        parts = _quantities((house.material(line.target), line) for line in off)
        yield {**parent, "childQuantityList": parts, "action": "DELETE", "bizStep": "removing"}


_BY_TYPE: Final = {
    Type.OBJECT: _objects,
    Type.TRANSFORMATION: _transformations,
    Type.ASSOCIATION: _associations,
}


def _comes_off(line: Line) -> bool:
    return line.source.kind == "bench"


def _action(line: Line, step: Step) -> str:
    if step.action != BY_SIDE:
        return step.action
    return "DELETE" if line.source.is_inside else "ADD"


def _stock(line: Line, moved: Moved, step: Step, house: House) -> str:
    if step.names is Names.CLASS_OF_SUBJECT:
        return house.coded(moved.subject)
    return house.material(line.source if line.source.is_inside else line.target)


def _inputs(moved: Moved, step: Step, house: House) -> Iterator[tuple[str, Line]]:
    for line in moved.lines:
        if not line.source.is_inside:
            # More was found than was weighed in. Pieces that come out of a frame went in with it.
            if not line.is_pieces:
                yield house.material(line.source), line
        elif step.names is Names.CLASS_OF_SUBJECT:
            yield house.coded(moved.subject), line
        elif step.names is not Names.FRAME:
            yield house.material(line.source), line


def _where(line: Line, house: House, *, gone: bool = False) -> Document:
    here = line.source if line.source.is_inside else line.target
    stays = line.target.is_inside and not gone
    return {
        "readPoint": {"id": house.place(here)},
        **({"bizLocation": {"id": house.place(line.target)}} if stays else {}),
    }


def _quantities(masses: Iterable[tuple[str, Line]]) -> list[Document]:
    totals: dict[tuple[str, bool], int] = {}
    for name, line in masses:
        totals[name, line.is_pieces] = totals.get((name, line.is_pieces), 0) + line.quantity
    return [
        {"epcClass": name, "quantity": total}
        if is_pieces
        else {"epcClass": name, "quantity": total / MG_PER_KG, "uom": "KGM"}
        for (name, is_pieces), total in totals.items()
    ]


def _booked(noted: Noted, house: House) -> Document:
    request = noted.detail.get("request")
    under = [{"type": "rma", "bizTransaction": house.coded(request)}] if request else []
    return {
        "epcList": [house.coded(noted.subject)],
        **({"bizTransactionList": under} if under else {}),
    }


def _unpacked(noted: Noted, house: House) -> Document | None:
    frames = [house.coded(tag) for tag in noted.detail.get("frames", ())]
    return {"parentID": house.coded(noted.subject), "childEPCs": frames} if frames else None


def _decided(noted: Noted, house: House) -> Document:
    return {
        "epcList": [house.coded(noted.subject)],
        f"{PREFIX}:decided": noted.detail["decided"],
    }


def _mended(noted: Noted, house: House) -> Document:
    return {"epcList": [house.coded(noted.subject)]}


def _checked(noted: Noted, house: House) -> Document:
    passed = noted.detail["passed"]
    return {
        "epcList": [house.coded(noted.subject)],
        "disposition": "conformant" if passed else "non_conformant",
    }


def _lenses(_noted: Noted, house: House) -> Document:
    return {"quantityList": [{"epcClass": house.term("class-lens")}]}


def _moulded(noted: Noted, house: House) -> Document:
    batch = house.coded(noted.subject)
    return {
        "outputQuantityList": [{"epcClass": batch, "quantity": noted.detail["pieces"]}],
        "transformationID": batch,
    }


_NOTED: Final = {
    "arrivals.book": _booked,
    "arrivals.finish": _unpacked,
    "lookover.grade": _decided,
    "lookover.overrule": _decided,
    "mending.do_step": _mended,
    "mending.check": _checked,
    "posting_out.post_lenses": _lenses,
    "batches.mould": _moulded,
}
