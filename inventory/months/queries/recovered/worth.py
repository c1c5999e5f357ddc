"""What the material of a month is worth: facts for the valuation sums, class by class.

A reversal within its own month cancels with its cost. The reversal of something booked in an
earlier month is no negative receipt: what it takes out is written off at the average, what it
brings back comes in at no cost, for the earlier month's average is closed.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from inventory.ledger.sums.recipes import COLUMNS, KINDS, Effect, WorthStep
from inventory.ledger.sums.shares import apportion
from inventory.models import ClassPrice, Month, Movement, Place, Workshop, WriteDown
from inventory.months.queries import months
from inventory.months.queries.entries import MATERIAL_KINDS, Entry, of_month
from inventory.months.queries.recovered.flows import Masses
from inventory.months.queries.recovered.shapes import Class, Entered, Worth, WriteDownPolicy
from inventory.months.queries.replays import MonthReplay
from inventory.months.sums import valuation
from inventory.months.sums.calendar_month import Month as CalendarMonth
from inventory.weighing.sums.traced import MassUncertainty, MassWithReadings


@dataclass(frozen=True, slots=True)
class Held:
    """What a class was worth at the turn of a month."""

    mass_mg: int = 0
    cost_minor: int = 0
    allowance_minor: int = 0


@dataclass(slots=True)
class _Tally:
    """What happened to one class in a month, by what it means for its cost."""

    into_mg: Counter[Effect] = field(default_factory=Counter)
    received_minor: Counter[WorthStep | None] = field(default_factory=Counter)


@dataclass(frozen=True, slots=True)
class Valued:
    """The outcome of a month. `unvalued` names classes whose figures do not fit together."""

    worth: tuple[Worth, ...]
    journal: tuple[Entered, ...]
    unvalued: tuple[str, ...]

    @property
    def held(self) -> dict[Class, Held]:
        """What the next month opens with."""
        return {
            row.material: Held(row.closing_mg, row.cost_minor, row.allowance_minor)
            for row in self.worth
            if row.closing_mg or row.cost_minor
        }


def class_of(place: Place) -> Class:
    """Return the class of a box or lot."""
    if place.polymer is None or place.colour is None:
        raise ValueError("only a box or a lot has a class")
    return Class(place.polymer.code, place.colour.code, place.origin)


def opening(label: str, places: dict[int, Place]) -> dict[Class, Held]:
    """Return what each class was worth when a month began.

    It starts at the last close and is carried through open months since, at today's prices.
    """
    last = Month.objects.filter(label__lt=label).order_by("-label").first()
    held = frozen_held(last.figures) if last else {}
    start = _first_open(last)
    while start is not None and str(start) < label:
        held = value(of_month(str(start), places), held, now(), {}).held
        start = start.next()
    return held


def frozen_held(figures: Mapping[str, Any]) -> dict[Class, Held]:
    """Return what a closed month froze as its closing values."""
    return {Class(*key): Held(*amounts) for key, amounts in figures["values"]}


def freeze_held(held: Mapping[Class, Held]) -> list[list[list[Any]]]:
    """Return closing values in the JSON shape that `frozen_held` reads."""
    return [
        [
            [key.polymer, key.colour, key.origin],
            [amounts.mass_mg, amounts.cost_minor, amounts.allowance_minor],
        ]
        for key, amounts in sorted(held.items())
    ]


@dataclass(frozen=True, slots=True)
class Terms:
    """By what a month is valued: class prices, the policy of write-downs, the report's edition.

    A month of an edition before the policy has none: every class with a price is at the lower of
    cost and what it would fetch, and all cost received stands on one account.
    """

    prices: list[list[Any]]
    write_down: WriteDownPolicy | None

    def price_of(self, key: Class) -> tuple[int, ...] | None:
        """Return price, cost to complete, cost to sell, and 1 if it is for sale as it is."""
        found = {(row[0], row[1], row[2]): tuple(row[3:]) for row in self.prices}
        # The colour's own price before that for all colours.
        own = found.get((key.polymer, key.colour, key.origin))
        return own or found.get((key.polymer, "", key.origin))

    def writes_down(self, price: tuple[int, ...]) -> bool:
        """Whether a class of this price is carried below cost when it would fetch less."""
        if self.write_down is None or self.write_down.rule == WriteDown.LOWEST:
            return True
        return bool(price[3:] and price[3])


def now() -> Terms:
    """Return the terms as they are now."""
    return Terms(prices(), policy())


def of_close(frozen: Mapping[str, Any]) -> Terms:
    """Return the terms that a close froze."""
    kept = frozen.get("write_down")
    return Terms(frozen["prices"], WriteDownPolicy(**kept) if kept else None)


def policy() -> WriteDownPolicy:
    """Return the owner's policy of write-downs as of now."""
    workshop = Workshop.the()
    return WriteDownPolicy(workshop.write_down, workshop.write_down_reason)


def prices() -> list[list[Any]]:
    """Return class prices as of now: polymer, colour or "", origin, price, to finish, to sell,
    and 1 for a class that is kept to be sold as it is.
    """
    rows = ClassPrice.objects.order_by("polymer__code", "colour__code", "origin").values_list(
        "polymer__code",
        "colour__code",
        "origin",
        "price_minor_per_kg",
        "to_complete_minor_per_kg",
        "to_sell_minor_per_kg",
        "for_sale",
    )
    return [[row[0], row[1] or "", *row[2:6], int(row[6])] for row in rows]


def known(
    replay: MonthReplay, classes: Mapping[Class, Masses]
) -> dict[Class, dict[str, MassUncertainty]]:
    """Return class -> mass of its worth -> uncertainty; `classes` has the masses of its rows."""
    parts: dict[Class, dict[str, MassWithReadings]] = {
        key: defaultdict(MassWithReadings) for key in classes
    }
    for entry, mass in replay.moved:
        for _entry, place, column in material_sides([entry]):
            sign = 1 if place == entry.target else -1
            parts[class_of(place)][effect(entry, column)].add(mass, sign)
    return {key: _known(cells, parts[key]) for key, cells in classes.items()}


def _known(cells: Masses, parts: Mapping[str, MassWithReadings]) -> dict[str, MassUncertainty]:
    """Return the uncertainties of a class's masses.

    Netted over the month, what is over was received and what is short is written off.
    """
    odd, nothing = parts[Effect.ODD], MassWithReadings()
    over, short = (odd, nothing) if odd.mass_mg > 0 else (nothing, odd)
    masses = {
        "opening_mg": cells.get("opening", nothing),
        "received_mg": MassWithReadings.total([parts[Effect.RECEIVED], over]),
        "issued_mg": parts[Effect.ISSUED],
        "normal_loss_mg": parts[Effect.NORMAL],
        "written_off_mg": short,
        "closing_mg": cells.get("closing", nothing),
    }
    return {name: mass.known() for name, mass in masses.items()}


def value(
    entries: Iterable[Entry],
    opened: Mapping[Class, Held],
    terms: Terms,
    how_well: Mapping[Class, Mapping[str, MassUncertainty]],
) -> Valued:
    """Value every class that had something or moved; `how_well` has its masses' uncertainties."""
    tallies = _tallies(entries)
    worth, journal, unvalued = list[Worth](), list[Entered](), list[str]()
    for key in sorted({*tallies, *opened}):
        try:
            row, lines = _valued(key, tallies.get(key, _Tally()), opened.get(key, Held()), terms)
        # One class whose figures do not fit must not hide the others; the close is refused by name.
        except valuation.ValuationError:
            unvalued.append(str(key))
            continue
        worth.append(replace(row, known=how_well.get(key, {})))
        journal += lines
    return Valued(tuple(worth), tuple(journal), tuple(unvalued))


def _first_open(last: Month | None) -> CalendarMonth | None:
    if last is not None:
        return CalendarMonth.parse(last.label).next()
    first = Movement.objects.order_by("month").values_list("month", flat=True).first()
    return months.parsed(first) if first else None


def _tallies(entries: Iterable[Entry]) -> dict[Class, _Tally]:
    tallies: dict[Class, _Tally] = {}
    by_movement: dict[int, list[tuple[Entry, Place]]] = {}
    for entry, place, column in material_sides(entries):
        tally = tallies.setdefault(class_of(place), _Tally())
        tally.into_mg[effect(entry, column)] += entry.signed(place)
        # The cost of what it undoes lies in an earlier month's average, which is closed.
        if not entry.undoes_earlier:
            by_movement.setdefault(entry.number, []).append((entry, place))
    for sides in by_movement.values():
        _add_cost(tallies, sides)
    return tallies


def effect(entry: Entry, column: str) -> Effect:
    """Return what a posting means for its class's cost. LookupError for an unknown column."""
    return Effect.ODD if entry.undoes_earlier else COLUMNS[column].effect


def material_sides(entries: Iterable[Entry]) -> Iterator[tuple[Entry, Place, str]]:
    """Yield every posting at a box or lot, with that place and the column it counts in there."""
    for entry in entries:
        for place in (entry.source, entry.target):
            column = entry.column(place)
            if place.kind in MATERIAL_KINDS and column:
                yield entry, place, column


def _add_cost(tallies: dict[Class, _Tally], sides: list[tuple[Entry, Place]]) -> None:
    """Divide a movement's cost among its boxes and lots by mass."""
    # Largest remainder: the shares add up to the movement's cost to the last minor unit.
    shares = apportion(sides[0][0].cost_minor, [entry.quantity for entry, _place in sides])
    data = KINDS[sides[0][0].kind].worth_step
    for (_entry, place), cost_minor in zip(sides, shares, strict=True):
        tallies[class_of(place)].received_minor[data] += cost_minor


def _movements(tally: _Tally, held: Held) -> valuation.MonthMovements:
    """Return the month's movements in the form that the valuation takes.

    Of undone and counted mass, what is short is written off and what is over comes in at no cost.
    Both directions of counts, run differences and undone entries are netted over the month.
    """
    odd_mg = tally.into_mg[Effect.ODD]
    return valuation.MonthMovements(
        opening=valuation.Holding(held.mass_mg, held.cost_minor),
        receipts=(
            valuation.Holding(tally.into_mg[Effect.RECEIVED], tally.received_minor.total()),
            valuation.Holding(max(odd_mg, 0), 0),
        ),
        issued_mg=-tally.into_mg[Effect.ISSUED],
        normal_loss_mg=-tally.into_mg[Effect.NORMAL],
        abnormal_loss_mg=max(-odd_mg, 0),
    )


def _valued(key: Class, tally: _Tally, held: Held, terms: Terms) -> tuple[Worth, list[Entered]]:
    month = valuation.value_month(_movements(tally, held))
    before_minor = _allowance_left(month, held)
    price = terms.price_of(key)
    nrv_minor = None if price is None else _realisable(month.closing.mass_mg, price)
    cost_minor = month.closing.cost_minor
    is_lowest = price is not None and terms.writes_down(price)
    step = valuation.lower_of_cost_and_nrv(
        cost_minor,
        nrv_minor if is_lowest and nrv_minor is not None else cost_minor,
        earlier_allowance_minor=before_minor,
    )
    worth = Worth(
        material=key,
        opening_mg=month.opening.mass_mg,
        opening_minor=month.opening.cost_minor,
        received_mg=month.received.mass_mg,
        received_minor=month.received.cost_minor,
        bought_minor=tally.received_minor[WorthStep.BOUGHT],
        recovered_minor=tally.received_minor[WorthStep.RECOVERED],
        converted_minor=tally.received_minor[WorthStep.CONVERTED],
        issued_mg=month.issued.mass_mg,
        issued_minor=month.issued.cost_minor,
        normal_loss_mg=month.normal_loss.mass_mg,
        written_off_mg=month.abnormal_loss.mass_mg,
        written_off_minor=month.abnormal_loss.cost_minor + month.normal_loss.cost_minor,
        closing_mg=month.closing.mass_mg,
        cost_minor=cost_minor,
        realisable_minor=nrv_minor,
        allowance_before_minor=held.allowance_minor,
        allowance_minor=step.allowance_minor,
        known={},
    )
    sources = None if terms.write_down is None else _sources(tally)
    lines = [*valuation.month_journal(month, step, sources).lines]
    lines += _allowance_used(held.allowance_minor - before_minor)
    # Once more as a whole: the added lines must balance with the rest.
    checked = valuation.Journal(tuple(lines)).lines
    return worth, [
        Entered(key, line.account, line.debit_minor, line.credit_minor, line.text_key)
        for line in checked
    ]


def _sources(tally: _Tally) -> list[tuple[str, str, int]]:
    """Return the cost received by its account of origin, text key and amount."""
    return [
        (account, text_key, tally.received_minor[step])
        for step, (account, text_key) in _RECEIVED.items()
    ]


_RECEIVED: Mapping[WorthStep | None, tuple[str, str]] = {
    WorthStep.BOUGHT: ("purchases", "material_bought"),
    WorthStep.RECOVERED: ("recovery", "material_recovered"),
    WorthStep.CONVERTED: ("conversion", "material_converted"),
    WorthStep.OTHERWISE: ("other_receipts", "material_otherwise"),
}


def _allowance_left(month: valuation.MonthValuation, held: Held) -> int:
    """Return the earlier write-down's share in what is left, as the average mixes old and new."""
    bearing_mg = month.issued.mass_mg + month.abnormal_loss.mass_mg + month.closing.mass_mg
    left = valuation.allowance_still_held(
        held.allowance_minor, held_mg=month.closing.mass_mg, of_mg=bearing_mg
    )
    # A class may have become cheaper than its write-down; an allowance cannot exceed the cost.
    return min(left, month.closing.cost_minor)


def _allowance_used(used_minor: int) -> list[valuation.JournalLine]:
    """Return the entry for the write-down that left with its material and makes that cheaper."""
    if not used_minor:
        return []
    return [
        valuation.JournalLine("stock_allowance", used_minor, 0, "allowance_left_with_material"),
        valuation.JournalLine("material_used", 0, used_minor, "allowance_left_with_material"),
    ]


def _realisable(mass_mg: int, price: tuple[int, ...]) -> int:
    return valuation.net_realisable_value_minor(
        mass_mg,
        price_minor_per_kg=price[0],
        to_complete_minor_per_kg=price[1],
        to_sell_minor_per_kg=price[2],
    )
