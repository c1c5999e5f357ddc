"""Puts a cost to the material on hand: periodic weighted average, losses, write-downs, journal.

Follows IAS 2 as secondary sources render it: stock at the lower of cost and net realisable value,
like items by one formula, abnormal loss as an expense. Quantity and value are kept; an average is
only derived, so that no penny is lost to rounding. Which cost belongs to reclaimed material is for
the accountant to say; money is whole minor units, mass whole milligrams.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import floor
from typing import ClassVar

from inventory.ledger.sums.shares import apportion
from inventory.wording import gettext_noop

__all__ = [
    "BadStockFigures",
    "Holding",
    "Journal",
    "JournalLine",
    "MonthMovements",
    "MonthValuation",
    "PiecesCost",
    "PiecesMonth",
    "UnbalancedJournal",
    "ValuationError",
    "WriteDown",
    "allowance_still_held",
    "apportion",
    "lower_of_cost_and_nrv",
    "month_journal",
    "net_realisable_value_minor",
    "pieces_journal",
    "value_month",
    "value_pieces",
]

MG_PER_KG = 1_000_000


class ValuationError(ValueError):
    """The root of what can be wrong with stock figures or a journal."""

    code: ClassVar[str] = "valuation"
    template: ClassVar[str] = ""

    def __init__(self) -> None:
        super().__init__(self.template)


class BadStockFigures(ValuationError):
    """Masses or values that no month can have."""

    code: ClassVar[str] = "bad_stock_figures"
    template: ClassVar[str] = gettext_noop(
        "The month's masses and values do not fit together: nothing may be negative, value needs "
        "mass, and no more can leave than was there. Look at the month's movements again."
    )


class UnbalancedJournal(ValuationError):
    """Debits and credits that differ, or a line that is neither."""

    code: ClassVar[str] = "unbalanced_journal"
    template: ClassVar[str] = gettext_noop(
        "The journal does not balance. Each line is one debit or one credit above zero, and both "
        "sides must come to the same sum."
    )


@dataclass(frozen=True, slots=True)
class Holding:
    """Some mass and what it cost; the average is derived and never stored."""

    mass_mg: int
    cost_minor: int

    def __post_init__(self) -> None:
        if self.mass_mg < 0 or self.cost_minor < 0:
            raise BadStockFigures


@dataclass(frozen=True, slots=True, kw_only=True)
class MonthMovements:
    """One class of material in one month.

    A normal loss is what the work always loses, such as dust and purge; it makes the rest dearer.
    An abnormal loss, such as spilled or spoiled material, bears its own cost and is an expense. A
    count difference found short is an abnormal loss; one found over is a receipt at no cost.
    """

    opening: Holding
    receipts: tuple[Holding, ...] = ()
    issued_mg: int = 0
    normal_loss_mg: int = 0
    abnormal_loss_mg: int = 0

    def __post_init__(self) -> None:
        out_mg = (self.issued_mg, self.normal_loss_mg, self.abnormal_loss_mg)
        # Exactly all may leave; one milligram more is a slip in the books and not a valuation.
        if min(out_mg) < 0 or sum(out_mg) > self.available.mass_mg:
            raise BadStockFigures
        if self.available.cost_minor and not self.available.mass_mg:
            raise BadStockFigures

    @property
    def received(self) -> Holding:
        """All receipts together."""
        return Holding(
            sum(receipt.mass_mg for receipt in self.receipts),
            sum(receipt.cost_minor for receipt in self.receipts),
        )

    @property
    def available(self) -> Holding:
        """Opening stock and receipts together."""
        received = self.received
        return Holding(
            self.opening.mass_mg + received.mass_mg, self.opening.cost_minor + received.cost_minor
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class MonthValuation:
    """A month from opening to closing, in mass and in money; it ties or cannot be made.

    `normal_loss.cost_minor` is zero unless a normal loss took all that there was: then nothing is
    left to bear the cost and it becomes an expense.
    """

    opening: Holding
    received: Holding
    issued: Holding
    normal_loss: Holding
    abnormal_loss: Holding
    closing: Holding

    def __post_init__(self) -> None:
        gone = (self.issued, self.normal_loss, self.abnormal_loss, self.closing)
        came = (self.opening, self.received)
        mass_ties = sum(h.mass_mg for h in came) == sum(h.mass_mg for h in gone)
        if not (mass_ties and sum(h.cost_minor for h in came) == sum(h.cost_minor for h in gone)):
            raise BadStockFigures


@dataclass(frozen=True, slots=True, kw_only=True)
class WriteDown:
    """Stock at the lower of cost and net realisable value, and the step from last time.

    `allowance_minor` is the write-down that stands afterwards; carrying = cost − allowance.
    """

    carrying_minor: int
    allowance_minor: int
    written_down_minor: int
    reversed_minor: int


@dataclass(frozen=True, slots=True)
class JournalLine:
    """One debit or one credit; `text_key` names the wording, which an edge translates."""

    account: str
    debit_minor: int
    credit_minor: int
    text_key: str


@dataclass(frozen=True, slots=True)
class Journal:
    """Lines that balance.

    Raises:
        UnbalancedJournal: they do not, or a line is not one positive amount on one side.
    """

    lines: tuple[JournalLine, ...]

    def __post_init__(self) -> None:
        sides = [(line.debit_minor, line.credit_minor) for line in self.lines]
        one_sided = all(min(side) == 0 and max(side) > 0 for side in sides)
        if not one_sided or sum(d for d, _ in sides) != sum(c for _, c in sides):
            raise UnbalancedJournal


def value_month(movements: MonthMovements) -> MonthValuation:
    """Return the month at its periodic weighted average cost.

    The cost of all that was available is divided among issues, abnormal loss and closing stock by
    mass; odd minor units go to the largest remainders, so nothing is left over.
    """
    available = movements.available
    out_mg = movements.issued_mg + movements.normal_loss_mg + movements.abnormal_loss_mg
    # Normal loss is not in the list: the cost is divided among the rest, which makes that dearer.
    masses_mg = [movements.issued_mg, movements.abnormal_loss_mg, available.mass_mg - out_mg]
    # Nothing left to bear the cost: it is an expense, for it must go somewhere.
    unborne_minor = 0 if any(masses_mg) else available.cost_minor
    costs_minor = apportion(available.cost_minor - unborne_minor, masses_mg)
    issued, abnormal, closing = map(Holding, masses_mg, costs_minor)
    return MonthValuation(
        opening=movements.opening,
        received=movements.received,
        issued=issued,
        normal_loss=Holding(movements.normal_loss_mg, unborne_minor),
        abnormal_loss=abnormal,
        closing=closing,
    )


def net_realisable_value_minor(
    mass_mg: int,
    *,
    price_minor_per_kg: int | Fraction,
    to_complete_minor_per_kg: int | Fraction,
    to_sell_minor_per_kg: int | Fraction,
) -> int:
    """Return expected price less the cost to complete and to sell, rounded down, never below 0."""
    net = Fraction(price_minor_per_kg) - to_complete_minor_per_kg - to_sell_minor_per_kg
    # A Fraction, rounded once at the end and down: stock is never shown above what it would fetch.
    return max(floor(net * mass_mg / MG_PER_KG), 0)


def allowance_still_held(allowance_minor: int, *, held_mg: int, of_mg: int) -> int:
    """Return the part of an earlier write-down that belongs to what is left of its material.

    Goods that left the stock took their share with them; only the rest can be reversed. Rounded
    down, so that no more is reversed than was written down.
    """
    if allowance_minor < 0 or not 0 <= held_mg <= of_mg:
        raise BadStockFigures
    return allowance_minor * held_mg // of_mg if of_mg else 0


def lower_of_cost_and_nrv(
    cost_minor: int, nrv_minor: int, *, earlier_allowance_minor: int = 0
) -> WriteDown:
    """Return the stock's carrying value; a reversal never exceeds the earlier write-down."""
    if not (nrv_minor >= 0 and 0 <= earlier_allowance_minor <= cost_minor):
        raise BadStockFigures
    # Whatever the earlier write-down was, the new one is worked out from scratch: so a reversal can
    # never carry the stock above its cost.
    carrying_minor = min(cost_minor, nrv_minor)
    allowance_minor = cost_minor - carrying_minor
    step_minor = allowance_minor - earlier_allowance_minor
    return WriteDown(
        carrying_minor=carrying_minor,
        allowance_minor=allowance_minor,
        written_down_minor=max(step_minor, 0),
        reversed_minor=max(-step_minor, 0),
    )


def month_journal(
    valuation: MonthValuation,
    write_down: WriteDown | None = None,
    sources: Sequence[tuple[str, str, int]] | None = None,
) -> Journal:
    """Return the month's lines; accounts are keys that the workshop maps to its own chart.

    `sources` divides the cost received as (account, text key, amount), together that cost; without
    them all of it stands on one account.
    """
    received_minor = valuation.received.cost_minor
    parts = [("recovery_cost", "material_received", received_minor)] if sources is None else sources
    if sum(amount for _account, _text, amount in parts) != received_minor:
        raise UnbalancedJournal
    entries = [
        *(("material_stock", account, amount, text) for account, text, amount in parts),
        ("material_used", "material_stock", valuation.issued.cost_minor, "material_issued"),
        (
            "abnormal_loss",
            "material_stock",
            valuation.abnormal_loss.cost_minor,
            "abnormal_loss_expensed",
        ),
        (
            "normal_loss_unborne",
            "material_stock",
            valuation.normal_loss.cost_minor,
            "normal_loss_took_all",
        ),
    ]
    if write_down is not None:
        entries += [
            ("write_down", "stock_allowance", write_down.written_down_minor, "written_down"),
            ("stock_allowance", "write_down", write_down.reversed_minor, "write_down_reversed"),
        ]
    return Journal(tuple(_both_sides(entries)))


@dataclass(frozen=True, slots=True, kw_only=True)
class PiecesMonth:
    """One spare part in one month, in pieces; a receipt has a cost, what is found over has none.

    `found` may be below zero: then that many pieces are missing.
    """

    opening: int
    opening_minor: int
    received: int
    received_minor: int
    mends: int
    kits: int
    found: int

    def __post_init__(self) -> None:
        amounts = (self.opening, self.opening_minor, self.received, self.received_minor)
        if min(*amounts, self.mends, self.kits, self.closing) < 0:
            raise BadStockFigures
        if self.available_minor and not self.available:
            raise BadStockFigures

    @property
    def available(self) -> int:
        return self.opening + self.received + max(self.found, 0)

    @property
    def available_minor(self) -> int:
        return self.opening_minor + self.received_minor

    @property
    def closing(self) -> int:
        return self.opening + self.received + self.found - self.mends - self.kits


@dataclass(frozen=True, slots=True, kw_only=True)
class PiecesCost:
    """What the pieces of a month cost, in minor units: together all that was available."""

    mends_minor: int
    kits_minor: int
    missing_minor: int
    closing_minor: int


def value_pieces(month: PiecesMonth) -> PiecesCost:
    """Return a part's month at its periodic weighted average cost, to the last minor unit."""
    missing = max(-month.found, 0)
    costs = apportion(month.available_minor, [month.mends, month.kits, missing, month.closing])
    return PiecesCost(
        mends_minor=costs[0], kits_minor=costs[1], missing_minor=costs[2], closing_minor=costs[3]
    )


def pieces_journal(month: PiecesMonth, cost: PiecesCost, *, taken_on_minor: int = 0) -> Journal:
    """Return a part's lines. `taken_on_minor` is the worth that the books never had before."""
    entries = [
        ("parts_stock", "parts_taken_on", taken_on_minor, "parts_taken_on"),
        ("parts_stock", "parts_purchases", month.received_minor, "parts_received"),
        ("parts_mends", "parts_stock", cost.mends_minor, "parts_fitted"),
        ("parts_kits", "parts_stock", cost.kits_minor, "parts_posted"),
        ("parts_missing", "parts_stock", cost.missing_minor, "parts_missing"),
    ]
    return Journal(tuple(_both_sides(entries)))


def _both_sides(entries: Sequence[tuple[str, str, int, str]]) -> Iterable[JournalLine]:
    for one, other, signed_minor, text_key in entries:
        # What was taken back outweighs what came: the same entry, turned round.
        debited, credited = (one, other) if signed_minor > 0 else (other, one)
        amount_minor = abs(signed_minor)
        # A line of nought on both sides is no entry, and `Journal` would refuse it.
        if amount_minor:
            yield JournalLine(debited, amount_minor, 0, text_key)
            yield JournalLine(credited, 0, amount_minor, text_key)
