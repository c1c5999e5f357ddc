"""Lines of a journal, and what stands on each account: opening, debits, credits, closing.

A line is a debit or a credit of whole minor units, never both and never below zero; the lines of a
voucher balance. An account's standing is signed: above zero it is a debit balance. What stands on
the accounts of stock goes on into the next year, all others begin it anew (common practice, no
source); their sum is brought forward, so that the opening balances too.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass

STOCK = frozenset({"material_stock", "stock_allowance", "parts_stock"})
"""Accounts whose balance goes on into the next year."""
BROUGHT_FORWARD = "brought_forward"


@dataclass(frozen=True, slots=True)
class Line:
    """One debit or credit. `of` is the class or part, `day` the last of the month, as ISO text."""

    number: int
    voucher: str
    day: str
    account: str
    debit_minor: int
    credit_minor: int
    text_key: str
    of: str


@dataclass(frozen=True, slots=True)
class Standing:
    """An account since the year began: what it opened with, its debits and its credits."""

    opening_minor: int = 0
    debit_minor: int = 0
    credit_minor: int = 0

    @property
    def closing_minor(self) -> int:
        """What stands on it, signed: a debit balance is above zero."""
        return self.opening_minor + self.debit_minor - self.credit_minor


Standings = Mapping[str, Standing]


def after(before: Standings, lines: Iterable[Line]) -> dict[str, Standing]:
    """Return the standing of every account once the lines are booked."""
    found = dict(before)
    for line in lines:
        had = found.get(line.account, Standing())
        found[line.account] = Standing(
            had.opening_minor,
            had.debit_minor + line.debit_minor,
            had.credit_minor + line.credit_minor,
        )
    return dict(sorted(found.items()))


def new_year(before: Standings) -> dict[str, Standing]:
    """Return the standings with which the next year opens; their openings come to nought."""
    stock = {
        account: Standing(had.closing_minor)
        for account, had in before.items()
        if account in STOCK and had.closing_minor
    }
    forward_minor = -sum(had.opening_minor for had in stock.values())
    return stock | ({BROUGHT_FORWARD: Standing(forward_minor)} if forward_minor else {})


def sides(signed_minor: int) -> tuple[int, int]:
    """Return a balance as (debit, credit), one of them nought."""
    return max(signed_minor, 0), max(-signed_minor, 0)


def totals(lines: Iterable[Line]) -> tuple[int, int]:
    """Return the sums of debits and of credits; they are equal in a sound journal."""
    listed = list(lines)
    return sum(line.debit_minor for line in listed), sum(line.credit_minor for line in listed)


def digest(month: str, lines: Iterable[Line]) -> str:
    """Return the SHA-256, hex, over the month and its lines as JSON: sorted keys, no spaces."""
    plain = [month, *(asdict(line) for line in lines)]
    text = json.dumps(plain, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()
