#!/usr/bin/env python3
"""Checks an evidence pack by itself: needs Python 3.9 or newer, and nothing else.

    python3 verify.py PACK.zip        or, unpacked:        python3 verify.py FOLDER

It trusts no figure in the pack. From the lines it works out anew: the checksum of every file, the
digest of every link of the chain, every opening, movement and closing of every row of every report,
and the digest of every closed month. It names whatever differs, and ends with 1 if anything does.
What it cannot know is whether the pack is of the books that it says: compare the head of the
chain, which it prints, with one that was kept outside. Uncertainties and money are not worked out.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import sys
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

# Where the facts of a movement and of a reading stand in a link.
NUMBER, KIND, SUBJECT, HAPPENED, RECORDED, MONTH, BELONGS, REVERSES = range(8)
REASON, COST, ACTOR, HEAT, KEY, FINGERPRINT, LINES = range(8, 15)
SCALE, TYPED, MASS = range(3)
LINE_COLUMNS = (
    *("number", "line", "link", "kind", "month", "belongs_to", "happened_at", "recorded_at"),
    *("who", "subject", "source", "target", "quantity", "scale", "typed", "mass_mg", "u_own_ug"),
    *("u_shared_ug", "flags", "check_due", "read_at", "line_heat", "heat", "reason"),
    *("cost_minor", "reverses"),
)
SHOWN_MAX = 10
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "\0", "＝", "＋", "－", "＠")


class Pack:
    """The files of a pack, in a folder or in a zip archive."""

    def __init__(self, path: Path) -> None:
        self.files: dict[str, bytes] = {}
        if path.is_dir():
            for file in sorted(path.rglob("*")):
                if file.is_file():
                    self.files[file.relative_to(path).as_posix()] = file.read_bytes()
        else:
            with zipfile.ZipFile(path) as archive:
                for name in archive.namelist():
                    # A bag in an archive is one folder.
                    self.files[name.partition("/")[2]] = archive.read(name)

    def text(self, name: str) -> str:
        return self.files[name].decode("utf-8")

    def json(self, name: str) -> Any:
        return json.loads(self.text(name))

    def rows(self, name: str) -> list[dict[str, str]]:
        return list(csv.DictReader(io.StringIO(self.text(name))))

    def links(self) -> list[dict[str, Any]]:
        return [json.loads(line) for line in self.text("data/chain.jsonl").splitlines()]


def sha256(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def canonical(value: Any) -> str:
    return json.dumps(value, sort_keys=True, ensure_ascii=False, separators=(",", ":"))


def bag(pack: Pack) -> Iterator[str]:
    """BagIt (RFC 8493): every file of the manifests is there as it was, and no other in data/."""
    wanted = "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
    if pack.text("bagit.txt") != wanted:
        yield "bagit.txt is not that of BagIt 1.0"
    listed: dict[str, str] = {}
    for manifest in ("manifest-sha256.txt", "tagmanifest-sha256.txt"):
        named = (line.split("  ", 1) for line in pack.text(manifest).splitlines())
        listed.update((name, digest) for digest, name in named)
    for name, digest in sorted(listed.items()):
        if name not in pack.files:
            yield f"{name} is missing"
        elif sha256(pack.files[name]) != digest:
            yield f"{name} is not the file that was packed"
    added = sorted(name for name in pack.files if name.startswith("data/") and name not in listed)
    yield from (f"{name} was added" for name in added)
    payload = [data for name, data in pack.files.items() if name.startswith("data/")]
    oxum = f"Payload-Oxum: {sum(map(len, payload))}.{len(payload)}"
    if oxum not in pack.text("bag-info.txt").splitlines():
        yield f"bag-info.txt does not say {oxum}"


def chain(pack: Pack) -> Iterator[str]:
    """Each link has the digest of its content and of the one before, and none is missing."""
    before = None
    for link in pack.links():
        name = f"link {link['position']}"
        facts = [link["kind"], link["position"], link["previous"], link["content"]]
        if sha256(canonical(facts).encode()) != link["digest"]:
            yield f"{name} ({link['kind']} {link['content'][0]}) is not what its digest says"
        if before and link["position"] != before["position"] + 1:
            yield f"{name} follows on link {before['position']}: some are missing"
        if before and link["previous"] != before["digest"]:
            yield f"{name} does not follow on the digest of the link before"
        before = link


def text(value: Any) -> str:
    """Return a fact as it stands in a cell; what a spreadsheet would run is quoted."""
    if value is None:
        return ""
    if isinstance(value, str):
        return f"'{value}" if value.startswith(FORMULA_STARTS) else value
    return canonical(value) if isinstance(value, list) else str(value)


def told(pack: Pack) -> Iterator[dict[str, str]]:
    """The lines as the chain tells them, in the columns of lines.csv."""
    for link in pack.links():
        if link["kind"] != "movement":
            continue
        facts = link["content"]
        for line, source, target, quantity, line_heat, reading in facts[LINES]:
            read = reading or [None] * 8
            row = [
                facts[NUMBER],
                line,
                link["position"],
                facts[KIND],
                facts[MONTH],
                facts[BELONGS],
                facts[HAPPENED],
                facts[RECORDED],
                facts[ACTOR],
                facts[SUBJECT],
                source,
                target,
                quantity,
                *read,
                line_heat,
                facts[HEAT],
                facts[REASON],
                facts[COST],
                facts[REVERSES],
            ]
            yield dict(zip(LINE_COLUMNS, map(text, row)))  # noqa: B905


def lines(pack: Pack) -> Iterator[str]:
    """The lines say what the chain says, in the columns that their description names."""
    header = pack.text("data/lines.csv").splitlines()[0]
    described = pack.json("data/lines.csv-metadata.json")["tableSchema"]["columns"]
    if header != ",".join(column["name"] for column in described):
        yield "the columns of lines.csv are not those of its description"
    given = pack.rows("data/lines.csv")
    wanted = list(told(pack))
    if len(given) != len(wanted):
        yield f"lines.csv has {len(given)} lines, the chain {len(wanted)}"
    for row, truth in zip(given, wanted):  # noqa: B905
        for name in LINE_COLUMNS:
            if row[name] != truth[name]:
                where = f"#{truth['number']} line {truth['line']}"
                yield f"{where}: {name} is {row[name]!r}, the chain has {truth[name]!r}"


def moved(pack: Pack, month: str) -> dict[str, dict[str, int]]:
    """Place -> column -> signed quantity, from the lines of a month by the rules of the columns."""
    rules = {tuple(rule[:4]): rule[4] for rule in pack.json("data/rules.json")["columns"]}
    places = {row["place"]: row for row in pack.rows("data/places.csv")}
    found: dict[str, dict[str, int]] = {}
    for row in told(pack):
        if row["month"] != month:
            continue
        for here, there, sign in (
            (row["target"], row["source"], 1),
            (row["source"], row["target"], -1),
        ):
            kinds = places[here]["kind"], places[there]["kind"]
            rule = rules.get((row["kind"], *kinds, places[here]["origin"]))
            column = rule or ("in" if sign > 0 else "out")
            cells = found.setdefault(here, {})
            cells[column] = cells.get(column, 0) + sign * int(row["quantity"])
    return found


def balances(pack: Pack) -> Iterator[str]:
    """Opening, what moved and closing of every place and month tie out."""
    opened: dict[str, dict[str, dict[str, str]]] = {}
    for row in pack.rows("data/balances.csv"):
        opened.setdefault(row["month"], {})[row["place"]] = row
    closings: dict[str, int] = {}
    for month in sorted(opened):
        cells = moved(pack, month)
        for place in sorted({*opened[month], *cells}):
            row = opened[month].get(place, {"opening": "0", "closing": "0"})
            change = sum(cells.get(place, {}).values())
            opening, closing = int(row["opening"]), int(row["closing"])
            if opening + change != closing:
                yield f"{month} {place}: {opening} and {change} are not {closing}"
            if place in closings and closings[place] != opening:
                yield f"{month} {place}: opens with {opening}, closed with {closings[place]}"
            closings[place] = closing


def reports(pack: Pack) -> Iterator[str]:
    """Every opening, column and closing of every report comes out of the lines."""
    for month in pack.json("data/months.json"):
        label = month["label"]
        data = pack.files[f"data/reports/{label}.json"]
        if month["digest"] and sha256(data) != month["frozen"]["report"]:
            yield f"{label}: the report is not the one that was closed"
        cells = moved(pack, label)
        opened = {
            row["place"]: row for row in pack.rows("data/balances.csv") if row["month"] == label
        }
        report = json.loads(data)
        for row in (*report["material"], *report["shelves"], *report["parts"]):
            place, flows = row["place"], row["flows"]
            given = {name: cell["quantity"] for name, cell in flows["cells"].items()}
            given = {name: quantity for name, quantity in given.items() if quantity}
            own = {name: quantity for name, quantity in cells.get(place, {}).items() if quantity}
            for name in sorted({*given, *own}):
                if given.get(name, 0) != own.get(name, 0):
                    yield (
                        f"{label} {place} {name}: the report has {given.get(name, 0)}, "
                        f"the lines {own.get(name, 0)}"
                    )
            for end in ("opening", "closing"):
                known = int(opened[place][end]) if place in opened else 0
                if flows[end] != known:
                    yield f"{label} {place} {end}: the report has {flows[end]}, balances {known}"


def months(pack: Pack) -> Iterator[str]:
    """The digest of every closed month is that of its lines, balances and frozen figures."""
    links = pack.links()
    by_position = {link["position"]: link["digest"] for link in links}
    previous = None
    for month in pack.json("data/months.json"):
        label = month["label"]
        if not month["digest"]:
            continue
        if previous is not None and month["previous"] != previous:
            yield f"{label} does not follow on the digest of the month before"
        previous = month["digest"]
        if month_digest(month, links, pack) != month["digest"]:
            yield f"{label}: its digest is not that of its lines and figures"
        position, digest = month["frozen"].get("chain", [0, ""])
        if by_position.get(position, digest) != digest:
            yield f"{label}: link {position} is not the one that its close froze"


def month_digest(month: dict[str, Any], links: list[dict[str, Any]], pack: Pack) -> str:
    told_lines: list[list[Any]] = [["month", month["label"], month["previous"]]]
    ours = [
        link["content"]
        for link in links
        if link["kind"] == "movement" and link["content"][MONTH] == month["label"]
    ]
    for facts in sorted(ours, key=lambda one: one[NUMBER]):
        weighed = [
            [*line[:4], [line[5][TYPED], line[5][MASS], line[5][SCALE]] if line[5] else None]
            for line in facts[LINES]
        ]
        head = [facts[at] for at in (NUMBER, KIND, SUBJECT, HAPPENED, BELONGS, REVERSES)]
        rest = [facts[at] for at in (REASON, COST, ACTOR, HEAT)]
        told_lines.append(["movement", *head, *rest, weighed])
    held = [
        [row["place"], int(row["closing"])]
        for row in pack.rows("data/balances.csv")
        if row["month"] == month["label"] and int(row["closing"])
    ]
    told_lines.append(["balances", *sorted(held)])
    told_lines.append(["frozen", month["frozen"]])
    return sha256("".join(canonical(line) + "\n" for line in told_lines).encode())


CHECKS = (bag, chain, lines, balances, reports, months)


def main(arguments: list[str]) -> int:
    if len(arguments) != 1:
        sys.stderr.write(__doc__ or "")
        return 2
    pack = Pack(Path(arguments[0]))
    wrong = 0
    for check in CHECKS:
        try:
            found = list(check(pack))
        except (KeyError, ValueError, IndexError, TypeError) as error:
            found = [f"the files cannot be read: {error!r}"]
        wrong += len(found)
        sys.stdout.write(f"{'FAIL' if found else 'ok  '} {check.__name__}: {check.__doc__}\n")
        for line in found[:SHOWN_MAX]:
            sys.stdout.write(f"     {line}\n")
        if len(found) > SHOWN_MAX:
            sys.stdout.write(f"     and {len(found) - SHOWN_MAX} more\n")
    links = pack.links()
    if links:
        last = links[-1]
        sys.stdout.write(f"head of the pack: link {last['position']}, {last['digest']}\n")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
