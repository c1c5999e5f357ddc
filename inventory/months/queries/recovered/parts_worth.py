"""What the spare parts of a month are worth: their periodic weighted average, part by part.

Purchases bring their stored cost in. What is salvaged or found over comes in at no cost; what a
count finds missing is written off at the average. As with material, taking back what an earlier
month booked is no negative receipt: it counts as found or missing.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from django.db.models import Q

from inventory.models import Month, Place, PlaceKind, Posting
from inventory.months.queries import entries
from inventory.months.queries.entries import Entry
from inventory.months.queries.recovered.shapes import PartEntered, PartWorth
from inventory.months.sums import valuation
from inventory.months.sums.valuation import PiecesMonth

# What came in with a cost of its own; "taken_on" has the one that was typed at the opening.
_BOUGHT = frozenset({"received", "taken_on"})
_USED = ("mends", "kits")


@dataclass(frozen=True, slots=True)
class Held:
    """The pieces in a bin at the turn of a month, and what they cost."""

    pieces: int = 0
    cost_minor: int = 0


@dataclass(frozen=True, slots=True)
class Valued:
    """The parts of a month. `unvalued` names parts whose figures do not fit together."""

    worth: tuple[PartWorth, ...] = ()
    journal: tuple[PartEntered, ...] = ()
    unvalued: tuple[str, ...] = ()

    @property
    def held(self) -> dict[str, Held]:
        """What the next month opens with."""
        return {
            row.part: Held(row.closing, row.cost_minor)
            for row in self.worth
            if row.closing or row.cost_minor
        }


@dataclass(frozen=True, slots=True)
class Opened:
    """What a month opens with. `is_new` says that the books never had the worth of these parts."""

    held: Mapping[str, Held]
    is_new: bool


def opening(label: str, places: dict[int, Place]) -> Opened:
    """Return what the parts were worth when a month began.

    It starts at the last close that froze the worth of parts. Closes before that had none: there
    it is worked out from the first purchase on, and is new to the books in the first month that
    has it.
    """
    last = Month.objects.filter(label__lt=label).order_by("-label").first()
    start = last if last and "part_values" in last.figures else None
    held = frozen_held(start.figures) if start else {}
    months = _by_month(start.label if start else "", label, places)
    for _month, found in sorted(months.items()):
        held = value(found, Opened(held, is_new=False)).held
    return Opened(held, is_new=last is not None and start is None)


def _by_month(after: str, before: str, places: dict[int, Place]) -> dict[str, list[Entry]]:
    rows = Posting.objects.filter(
        Q(source__kind=PlaceKind.BIN) | Q(target__kind=PlaceKind.BIN),
        movement__month__gt=after,
        movement__month__lt=before,
    )
    found: dict[str, list[Entry]] = defaultdict(list)
    for entry in entries.read(rows, places):
        found[entry.month].append(entry)
    return found


def frozen_held(figures: Mapping[str, Any]) -> dict[str, Held]:
    """Return what a closed month froze as the worth of its parts."""
    return {part: Held(*amounts) for part, amounts in figures["part_values"]}


def freeze_held(worth: Iterable[PartWorth]) -> list[list[Any]]:
    """Return closing values in the JSON shape that `frozen_held` reads."""
    held = Valued(tuple(worth)).held
    return [[part, [one.pieces, one.cost_minor]] for part, one in sorted(held.items())]


def value(listed: Iterable[Entry], opened: Opened) -> Valued:
    """Value every part that had something or moved."""
    tallies = _tallies(listed)
    worth, journal, unvalued = list[PartWorth](), list[PartEntered](), list[str]()
    for part in sorted({*tallies, *opened.held}):
        held = opened.held.get(part, Held())
        tally = tallies.get(part, {})
        try:
            month = _month(tally, held)
            cost = valuation.value_pieces(month)
        except valuation.ValuationError:
            unvalued.append(part)
            continue
        taken_on_minor = held.cost_minor if opened.is_new else 0
        lines = valuation.pieces_journal(month, cost, taken_on_minor=taken_on_minor).lines
        worth.append(_worth(part, month, cost, taken_on_minor))
        journal += [
            PartEntered(part, line.account, line.debit_minor, line.credit_minor, line.text_key)
            for line in lines
        ]
    return Valued(tuple(worth), tuple(journal), tuple(unvalued))


def _tallies(listed: Iterable[Entry]) -> dict[str, dict[str, int]]:
    """Return part -> pieces by what they mean, and "cost" in minor units."""
    found: dict[str, dict[str, int]] = {}
    for entry, bin_, column in _sides(listed):
        tally = found.setdefault(bin_.part.code if bin_.part else "", defaultdict(int))
        if entry.undoes_earlier or column not in {*_BOUGHT, *_USED}:
            tally["found"] += entry.signed(bin_)
            continue
        tally[column] += entry.signed(bin_)
        if column in _BOUGHT and entry.line == 1:
            tally["cost"] += entry.cost_minor
    return found


def _sides(listed: Iterable[Entry]) -> Iterator[tuple[Entry, Place, str]]:
    for entry in listed:
        for place in (entry.source, entry.target):
            column = entry.column(place)
            if place.kind == PlaceKind.BIN and column:
                yield entry, place, column


def _month(tally: Mapping[str, int], held: Held) -> PiecesMonth:
    return PiecesMonth(
        opening=held.pieces,
        opening_minor=held.cost_minor,
        received=sum(tally.get(column, 0) for column in _BOUGHT),
        received_minor=tally.get("cost", 0),
        mends=-tally.get("mends", 0),
        kits=-tally.get("kits", 0),
        found=tally.get("found", 0),
    )


def _worth(
    part: str, month: PiecesMonth, cost: valuation.PiecesCost, taken_on_minor: int
) -> PartWorth:
    return PartWorth(
        part=part,
        opening=month.opening,
        opening_minor=month.opening_minor,
        received=month.received,
        received_minor=month.received_minor,
        found=month.found,
        mends=month.mends,
        mends_minor=cost.mends_minor,
        kits=month.kits,
        kits_minor=cost.kits_minor,
        missing_minor=cost.missing_minor,
        closing=month.closing,
        cost_minor=cost.closing_minor,
        taken_on_minor=taken_on_minor,
    )
