"""The evidence of a span of months as one archive: a BagIt bag (RFC 8493) that checks itself.

It holds the complete lines, the chain, the reports, balances, the rules of the columns, the scales,
and a verifier that needs nothing but Python. Nobody is named in it: who did something is a number.
The form of a bag is from memory of the RFC.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import zipfile
from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from pathlib import Path
from typing import IO, Any

from django.db.models import Max, Min
from django.utils.translation import gettext as _

from inventory.chain import queries as links
from inventory.chain import sums as chain_sums
from inventory.chain.queries import Link, MovementLink
from inventory.errors import NotFound
from inventory.ledger.queries import balances
from inventory.ledger.sums import recipes
from inventory.masters import queries as practice
from inventory.models import Month, Movement, Place, Scale, Workshop
from inventory.models.materials import Origin
from inventory.months.queries import recovered
from inventory.months.reports import verify
from inventory.months.reports.tabular import safe
from inventory.months.sums.calendar_month import Month as CalendarMonth

# A zip's clock begins here; the same books make the same archive.
_STILL = (1980, 1, 1, 0, 0, 0)
_MEANINGS = {
    "number": ("integer", "number of the movement"),
    "line": ("integer", "line within the movement"),
    "link": ("integer", "place of the movement in the chain"),
    "kind": ("string", "what happened; rules.json says what each kind means"),
    "month": ("string", "month that it is booked in"),
    "belongs_to": ("string", "month that it belongs to, where that was closed already"),
    "happened_at": ("string", "when it happened, in UTC"),
    "recorded_at": ("string", "when it was recorded, in UTC"),
    "who": ("string", "who did it, as a number; the workshop knows whose"),
    "subject": ("string", "frame, run, lot, batch or kit that it is of"),
    "source": ("string", "place that it left"),
    "target": ("string", "place that it came to"),
    "quantity": ("integer", "milligrams or pieces, as the places count"),
    "scale": ("string", "scale that it was read on; see scales.csv"),
    "typed": ("string", "the reading as it was typed"),
    "mass_mg": ("string", "the reading in milligrams"),
    "u_own_ug": ("string", "own standard uncertainty in micrograms"),
    "u_shared_ug": ("string", "uncertainty shared with the scale, in micrograms"),
    "flags": ("string", "what was out of order with the scale"),
    "check_due": ("string", "the scale's check date at that time"),
    "read_at": ("string", "when it was read, in UTC"),
    "line_heat": ("string", "heat passes of this line: [passes, parts per million]"),
    "heat": ("string", "heat passes of what entered a box: [passes, parts per million]"),
    "reason": ("string", "why, in words"),
    "cost_minor": ("integer", "cost that it brought in, in cents"),
    "reverses": ("string", "number of the movement that it takes back"),
}
_ABOUT = """What this is

The evidence for the months {first} to {last} of {workshop}, made {at}.{practice}

How to check it: python3 verify.py with this folder or archive. The program needs nothing else.
Read it first: it is short, and it trusts no figure in here.

data/chain.jsonl     the links of the chain, one a line: every movement and event from the first
                     to the last movement of these months. Digest: SHA-256 over the JSON text of
                     [kind, position, previous, content], keys sorted, no spaces, UTF-8.
data/lines.csv       the same movements line by line; lines.csv-metadata.json describes it (CSVW).
data/balances.csv    what every place held when each month began and ended.
data/places.csv      the places: what kind each is, its unit, and what lies there.
data/rules.json      in which column of the report each line counts, and what each kind means.
data/reports/        the report of each month, in the form over which its digest was taken.
data/months.json     the digests of the months, and what their closes froze.
data/scales.csv      the scales and when their next check is due.

What it proves: that the figures follow from the lines, and the lines are those of the digests.
What it does not: that what was typed is true. Keep the head of the chain at each close somewhere
else; the head in here must be on the way to it. Uncertainties and money are given, not checked.
"""


def pack(first: CalendarMonth, last: CalendarMonth, *, at: datetime, to: IO[bytes]) -> str:
    """Write the archive of the months from first to last; returns the name of its folder.

    Raises NotFound when nothing was booked in them.
    """
    labels = list(_labels(first, last))
    found = Movement.objects.filter(month__in=labels)
    between = found.aggregate(first=Min("link"), last=Max("link"))
    if between["first"] is None:
        raise NotFound(_("Nothing was booked in these months."))
    name = f"evidence-{first}-{last}"
    with zipfile.ZipFile(to, "w", zipfile.ZIP_DEFLATED) as archive:
        bag = _Bag(archive, name)
        _write_links(bag, between["first"], between["last"])
        _write_months(bag, labels)
        bag.add("data/README.txt", _about(first, last, at))
        bag.add("data/lines.csv-metadata.json", _described())
        bag.add("data/places.csv", _csv(_PLACES, _places()))
        bag.add(
            "data/scales.csv", _csv(_SCALES, Scale.objects.order_by("pk").values_list(*_SCALES))
        )
        bag.add("data/rules.json", _json(_rules()))
        bag.close(at)
    return name


def _labels(first: CalendarMonth, last: CalendarMonth) -> Iterator[str]:
    month = first
    while month <= last:
        yield str(month)
        month = month.next()


class _Bag:
    """A bag that is being filled: knows the checksum and the size of what is in it."""

    def __init__(self, archive: zipfile.ZipFile, folder: str) -> None:
        self.archive, self.folder = archive, folder
        self.digests: dict[str, str] = {}
        self.size = 0

    def add(self, name: str, text: str) -> None:
        self.fill(name, [text])

    def fill(self, name: str, chunks: Iterable[str]) -> None:
        """Write a file chunk by chunk: it may be larger than the memory."""
        digest = hashlib.sha256()
        info = zipfile.ZipInfo(f"{self.folder}/{name}", _STILL)
        info.compress_type = zipfile.ZIP_DEFLATED
        with self.archive.open(info, "w") as file:
            for chunk in chunks:
                data = chunk.encode()
                digest.update(data)
                self.size += len(data) if name.startswith("data/") else 0
                file.write(data)
        self.digests[name] = digest.hexdigest()

    def close(self, at: datetime) -> None:
        """Write the tag files."""
        payload = [name for name in self.digests if name.startswith("data/")]
        self.add("bagit.txt", "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n")
        oxum = f"Payload-Oxum: {self.size}.{len(payload)}\n"
        self.add("bag-info.txt", f"Bagging-Date: {at:%Y-%m-%d}\n{oxum}")
        self.add("verify.py", Path(verify.__file__).read_text(encoding="utf-8"))
        self.add("manifest-sha256.txt", self._manifest(payload))
        tags = [name for name in self.digests if not name.startswith("data/")]
        self.add("tagmanifest-sha256.txt", self._manifest(tags))

    def _manifest(self, names: Iterable[str]) -> str:
        return "".join(f"{self.digests[name]}  {name}\n" for name in sorted(names))


def _write_links(bag: _Bag, first: int, last: int) -> None:
    bag.fill("data/chain.jsonl", (_link(link, before) for link, before in _between(first, last)))
    bag.fill("data/lines.csv", _lines(first, last))


def _between(first: int, last: int) -> Iterator[tuple[Link, str]]:
    """Yield the links of a stretch, each with the digest of the one before."""
    before = links.digest_at(first - 1)
    for link in links.links(after=first - 1):
        if link.position > last:
            return
        yield link, before
        before = link.digest


def _link(link: Link, before: str) -> str:
    facts = {
        "kind": link.kind,
        "position": link.position,
        "previous": before,
        "content": chain_sums.plain(link.content),
        "digest": link.digest,
    }
    return json.dumps(facts, sort_keys=True, ensure_ascii=False) + "\n"


def _lines(first: int, last: int) -> Iterator[str]:
    yield ",".join(verify.LINE_COLUMNS) + "\n"
    for link, _before in _between(first, last):
        if isinstance(link, MovementLink):
            yield _csv_rows(_line(link))


def _line(link: MovementLink) -> Iterator[list[str]]:
    data = chain_sums.plain(link.fields)
    for line in chain_sums.plain([one.content for one in link.lines]):
        number, source, target, quantity, heat, reading = line
        row = [
            *(data["number"], number, link.position, data["kind"], data["month"]),
            *(data["belongs_to"], data["happened_at"], data["recorded_at"], data["actor_id"]),
            *(data["subject"], source, target, quantity, *(reading or [None] * 8), heat),
            *(data["heat"], data["reason"], data["cost_minor"], data["reverses__number"]),
        ]
        yield [verify.text(value) for value in row]


def _write_months(bag: _Bag, labels: Sequence[str]) -> None:
    closed = {month.label: month for month in Month.objects.filter(label__in=labels)}
    told: list[dict[str, Any]] = []
    held: list[list[Any]] = []
    for label in labels:
        month = closed.get(label)
        kept = month.figures.get("report_text") if month else None
        text = kept or recovered.canonical(recovered.of_month(label))
        bag.add(f"data/reports/{label}.json", text)
        told.append(
            {
                "label": label,
                "previous": month.previous_digest if month else "",
                "digest": month.digest if month else "",
                "frozen": month.figures if month else {},
            }
        )
        held += _held(label)
    bag.add("data/months.json", _json(told))
    bag.add("data/balances.csv", _csv(("month", "place", "opening", "closing"), held))


def _held(label: str) -> Iterator[list[Any]]:
    codes = dict(Place.objects.values_list("pk", "code"))
    opening, closing = balances.at_start(label), balances.at_close(label)
    for pk in sorted({*opening, *closing}, key=codes.__getitem__):
        yield [label, codes[pk], opening.get(pk, 0), closing.get(pk, 0)]


_PLACES = ("place", "kind", "unit", "origin", "polymer", "colour")
_SCALES = (
    "pk", "name", "accuracy", "division_mg", "verification_mg", "capacity_mg", "minimum_mg",
    "check_due", "calibration_u_ug", "in_use",
)  # fmt: skip


def _places() -> Iterable[Sequence[Any]]:
    names = ("code", "kind", "unit", "origin", "polymer__code", "colour__code")
    return Place.objects.order_by("code").values_list(*names)


def _rules() -> dict[str, Any]:
    """Return the column of each kind and end, for every origin that a place may have."""
    columns: list[list[str]] = []
    for kind, row in recipes.KINDS.items():
        for leg in row.legs:
            ends = ((leg.source, leg.target), (leg.target, leg.source))
            for here, there in ends:
                if here in recipes.COUNTED_BY_COLUMN:
                    columns += _columns(kind, here, there)
    means = {kind: row.means for kind, row in recipes.KINDS.items()}
    return {"columns": columns, "kinds": means}


def _columns(kind: str, here: str, there: str) -> Iterator[list[str]]:
    for origin in ("", *Origin.values):
        try:
            yield [kind, here, there, origin, recipes.column(kind, here, there, origin)]
        except LookupError:
            continue


def _described() -> str:
    """Return the description of the lines as CSV on the Web (W3C, 2015)."""
    columns = [
        {
            "name": name,
            "titles": name,
            "datatype": _MEANINGS[name][0],
            "dc:description": _MEANINGS[name][1],
            "required": name in {"number", "line", "link", "source", "target", "quantity"},
        }
        for name in verify.LINE_COLUMNS
    ]
    schema = {"columns": columns, "primaryKey": ["number", "line"]}
    described = {"@context": "http://www.w3.org/ns/csvw", "url": "lines.csv", "tableSchema": schema}
    return _json(described)


def _about(first: CalendarMonth, last: CalendarMonth, at: datetime) -> str:
    return _ABOUT.format(
        first=first,
        last=last,
        workshop=Workshop.the().name,
        at=chain_sums.plain(at),
        practice=" Everything in it is invented." if practice.is_on() else "",
    )


def _json(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, indent=1, sort_keys=True) + "\n"


def _csv(names: Sequence[str], rows: Iterable[Sequence[Any]]) -> str:
    return ",".join(names) + "\n" + _csv_rows([[_cell(one) for one in row] for row in rows])


def _cell(value: Any) -> str:
    # A name that begins like a formula is data here; numbers stay numbers.
    return "" if value is None else safe(value) if isinstance(value, str) else str(value)


def _csv_rows(rows: Iterable[Sequence[str]]) -> str:
    file = io.StringIO()
    csv.writer(file, lineterminator="\n").writerows(rows)
    return file.getvalue()
