"""Recomputes a month's journal from its exported files alone, with nothing of the product.

It reads what an auditor is given: the figures and the postings as CSV, and the export as JSON. Run
it by hand as `python recompute.py figures.csv postings.csv journal.json`; it prints what differs
and ends with 1 if anything does. Costs are shared by mass with the largest remainder; stock is
taken at the weighted average of the month (common practice, no source for the rounding).
"""

from __future__ import annotations

import csv
import io
import json
import sys
from collections import defaultdict
from fractions import Fraction
from pathlib import Path

INTO = {
    "receive_feedstock": "purchases",
    "sort_goods": "purchases",
    "strip_down": "recovery",
    "grind": "conversion",
}
EFFECTS = {
    **dict.fromkeys(("dust", "purge", "moisture"), "normal"),
    **dict.fromkeys(
        ("credited", "feedstock", "goods", "virgin", "in_process", "taken_on"), "received"
    ),
    "issued": "issued",
}


def shared(total: int, weights: list[int]) -> list[int]:
    """Share whole cents by weight; odd ones go to the largest remainders, the earlier first."""
    whole = sum(weights)
    if not whole:
        assert not total
        return [0] * len(weights)
    exact = [Fraction(abs(total) * weight, whole) for weight in weights]
    parts = [int(part) for part in exact]
    order = sorted(range(len(exact)), key=lambda i: (-(exact[i] - parts[i]), i))
    for i in order[: abs(total) - sum(parts)]:
        parts[i] += 1
    return [part if total >= 0 else -part for part in parts]


def read(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text, newline="")))


class Month:
    """What the files say of one month."""

    def __init__(self, figures: str, postings: str) -> None:
        self.rows = read(figures)
        self.lines = read(postings)
        self.class_of = {
            row["row"]: "/".join((row["polymer"], row["colour"], row["origin"]))
            for row in self.rows
            if row["section"] == "material" and row["row"] != "total"
        }
        self.month = {line["movement"]: line for line in self.lines}

    def value(self, section: str, row: str, column: str) -> int:
        for one in self.rows:
            if (one["section"], one["row"], one["column"]) == (section, row, column):
                return int(one["quantity"])
        return 0

    def is_odd(self, line: dict[str, str]) -> bool:
        """Whether a line takes back what this month did not book."""
        return bool(line["reverses"]) and line["reverses"] not in self.month

    def materials(self) -> dict[str, dict[str, int]]:
        """Class -> what moved: received, issued, normal, odd in mg; costs by account."""
        found: dict[str, dict[str, int]] = defaultdict(lambda: defaultdict(int))
        ends = defaultdict(list)
        costs: dict[str, int] = defaultdict(int)
        for line in self.lines:
            costs[line["movement"]] += int(line["cost_minor"])
            for place, column, sign in (
                (line["source"], line["source_column"], -1),
                (line["target"], line["target_column"], 1),
            ):
                if place not in self.class_of:
                    continue
                name, mass = self.class_of[place], sign * int(line["quantity"])
                if self.is_odd(line):
                    found[name]["odd"] += mass
                    continue
                found[name][EFFECTS.get(column, "odd")] += mass
                ends[line["movement"]].append((name, int(line["quantity"]), line["kind"]))
        for movement, listed in ends.items():
            parts = shared(costs[movement], [mass for _name, mass, _kind in listed])
            for (name, _mass, kind), part in zip(listed, parts, strict=True):
                found[name]["cost " + INTO.get(kind, "other_receipts")] += part
        return found

    def parts(self) -> dict[str, dict[str, int]]:
        """Part -> pieces bought, in mends, in kits, found; and the cost of what was bought."""
        bins = {"bin-" + row["row"]: row["row"] for row in self.rows if row["section"] == "parts"}
        found: dict[str, dict[str, int]] = defaultdict(lambda: defaultdict(int))
        for line in self.lines:
            for place, column, sign in (
                (line["source"], line["source_column"], -1),
                (line["target"], line["target_column"], 1),
            ):
                if place not in bins:
                    continue
                tally, pieces = found[bins[place]], sign * int(line["quantity"])
                if self.is_odd(line) or column not in ("received", "taken_on", "mends", "kits"):
                    tally["found"] += pieces
                elif column in ("mends", "kits"):
                    tally[column] -= pieces
                else:
                    tally["received"] += pieces
                    tally["cost"] += int(line["cost_minor"])
        return found


def journal(month: Month) -> dict[tuple[str, str], int]:
    """(class or part, account) -> debit less credit, as the files make it."""
    booked: dict[tuple[str, str], int] = defaultdict(int)
    moved = month.materials()
    classes = {row["row"] for row in month.rows if row["section"] == "value"}
    for name in {*moved, *classes}:
        _material(booked, month, name, moved[name])
    parts = month.parts()
    valued = {row["row"] for row in month.rows if row["section"] == "parts_value"}
    for part in {*parts, *valued}:
        _part(booked, month, part, parts[part])
    return {key: amount for key, amount in booked.items() if amount}


def _material(
    booked: dict[tuple[str, str], int], month: Month, name: str, moved: dict[str, int]
) -> None:
    opening_mg = sum(
        month.value("material", place, "opening")
        for place, of in month.class_of.items()
        if of == name
    )
    over, short = max(moved["odd"], 0), max(-moved["odd"], 0)
    issued, normal = -moved["issued"], -moved["normal"]
    costs = {key[5:]: amount for key, amount in moved.items() if key.startswith("cost ")}
    available = month.value("value", name, "opening") + sum(costs.values())
    left_mg = opening_mg + moved["received"] + over - issued - normal - short
    used, lost, _closing = (
        shared(available, [issued, short, left_mg]) if (issued or short or left_mg) else (0, 0, 0)
    )
    for account, amount in costs.items():
        booked[name, account] -= amount
    booked[name, "material_used"] += used
    booked[name, "abnormal_loss"] += lost
    unborne = available if not (issued or short or left_mg) else 0
    booked[name, "normal_loss_unborne"] += unborne
    booked[name, "material_stock"] += sum(costs.values()) - used - lost - unborne


def _part(
    booked: dict[tuple[str, str], int], month: Month, part: str, moved: dict[str, int]
) -> None:
    opening = month.value("parts", part, "opening")
    opening_minor = month.value("parts_value", part, "opening")
    taken_on = month.value("parts_value", part, "taken_on")
    missing = max(-moved["found"], 0)
    closing = opening + moved["received"] + moved["found"] - moved["mends"] - moved["kits"]
    mends, kits, lost, _left = shared(
        opening_minor + moved["cost"], [moved["mends"], moved["kits"], missing, closing]
    )
    booked[part, "parts_purchases"] -= moved["cost"]
    booked[part, "parts_taken_on"] -= taken_on
    booked[part, "parts_mends"] += mends
    booked[part, "parts_kits"] += kits
    booked[part, "parts_missing"] += lost
    booked[part, "parts_stock"] += moved["cost"] + taken_on - mends - kits - lost


WRITTEN_DOWN = {"written_down", "write_down_reversed", "allowance_left_with_material"}


def exported(text: str) -> tuple[dict[tuple[str, str], int], list[str]]:
    """Return the export's sums, write-downs left out, and what is wrong with its own lines."""
    document = json.loads(text)
    lines, wrong = document["lines"], []
    sums: dict[tuple[str, str], int] = defaultdict(int)
    vouchers: dict[str, int] = defaultdict(int)
    accounts: dict[str, int] = defaultdict(int)
    for line in lines:
        signed = line["debit_minor"] - line["credit_minor"]
        vouchers[line["voucher"]] += signed
        accounts[line["account_key"]] += signed
        if line["text_key"] not in WRITTEN_DOWN:
            sums[line["of"], line["account_key"]] += signed
    if [line["line"] for line in lines] != list(range(1, len(lines) + 1)):
        wrong.append("lines are not numbered 1 to n")
    wrong += [f"voucher {name} does not balance" for name, rest in vouchers.items() if rest]
    for side in ("debit_minor", "credit_minor"):
        if sum(line[side] for line in lines) != document[side]:
            wrong.append(f"{side} is not the sum of the lines")
    for row in document["balances"]:
        moved = accounts.pop(row["account_key"], 0)
        if row["opening_minor"] + moved != row["closing_minor"]:
            wrong.append(f"{row['account_key']}: opening and lines miss the closing")
    wrong += [f"{account} has lines and no balance" for account in accounts]
    return {key: amount for key, amount in sums.items() if amount}, wrong


def differences(figures: str, postings: str, export: str) -> list[str]:
    """Return what differs between the export and the journal that the files make."""
    ours = journal(Month(figures, postings))
    theirs, wrong = exported(export)
    for key in sorted({*ours, *theirs}):
        if ours.get(key, 0) != theirs.get(key, 0):
            wrong.append(f"{key}: recomputed {ours.get(key, 0)}, exported {theirs.get(key, 0)}")
    return wrong


if __name__ == "__main__":
    texts = [Path(name).read_text(encoding="utf-8") for name in sys.argv[1:4]]
    found = differences(*texts)
    print("\n".join(found) or "nothing differs")
    sys.exit(bool(found))
