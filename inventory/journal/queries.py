"""The journal of a month, what stands on each account, and which export comes next. Reads only."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from inventory.errors import Conflict, NotFound
from inventory.journal import sums
from inventory.journal.sums import Line, Standing
from inventory.models import AccountNumber, JournalExport, Month
from inventory.months.queries import months, recovered
from inventory.months.queries.recovered import Report
from inventory.months.sums.calendar_month import Month as CalendarMonth

ACCOUNTS = (
    *("material_stock", "stock_allowance", "parts_stock", sums.BROUGHT_FORWARD),
    *("purchases", "recovery", "conversion", "other_receipts", "recovery_cost"),
    *("material_used", "abnormal_loss", "normal_loss_unborne", "write_down"),
    *("parts_purchases", "parts_mends", "parts_kits", "parts_missing", "parts_taken_on"),
)
"""Every account that a journal may name, in the order in which they are shown."""


@dataclass(frozen=True, slots=True)
class Balance:
    """An account in a month, in minor units; openings and closings are signed, a debit above 0."""

    account: str
    opening_minor: int
    debit_minor: int
    credit_minor: int
    closing_minor: int
    year_debit_minor: int
    year_credit_minor: int


def of_report(report: Report) -> tuple[Line, ...]:
    """Return the journal lines of a report. Two lines are a voucher: a debit and its credit."""
    listed: list[tuple[str, Any]] = [
        *((str(line.material), line) for line in report.journal),
        *((line.part, line) for line in report.parts_journal),
    ]
    return tuple(_numbered(report.label, listed))


def _numbered(label: str, listed: list[tuple[str, Any]]) -> Iterator[Line]:
    day = CalendarMonth.parse(label).last_day.isoformat()
    for index, (of, line) in enumerate(listed):
        # Sums and reports write each entry as a debit and, right after it, its credit.
        voucher = f"{label}-{index // 2 + 1:03d}"
        yield Line(
            number=index + 1,
            voucher=voucher,
            day=day,
            account=line.account,
            debit_minor=line.debit_minor,
            credit_minor=line.credit_minor,
            text_key=line.text_key,
            of=of,
        )


def of_month(label: str) -> tuple[Line, ...]:
    """Return the journal lines of a month, open or closed."""
    return of_report(recovered.of_month(label))


def before(label: str) -> dict[str, Standing]:
    """Return what stands on each account when a month begins, in the terms of its own year.

    It is carried on from the last close that froze it. Closes of earlier editions froze none:
    there it is summed from their journals.
    """
    held: Mapping[str, Standing] = {}
    last = Month.objects.filter(label__lt=label).order_by("-label").first()
    start = CalendarMonth.parse(last.label).next() if last else months.next_to_close()
    if last is not None and "accounts" in last.figures:
        held = thawed(last.figures["accounts"])
    elif last is not None:
        start = CalendarMonth.parse(Month.objects.order_by("label").values_list("label")[0][0])
    at = start
    while at is not None and str(at) < label:
        held = sums.after(_opened(held, at), of_month(str(at)))
        at = at.next()
    return dict(_opened(held, CalendarMonth.parse(label)))


def _opened(held: Mapping[str, Standing], month: CalendarMonth) -> Mapping[str, Standing]:
    return sums.new_year(held) if month.number == 1 else held


def at_close(report: Report) -> dict[str, Standing]:
    """Return what stands on each account when a month ends."""
    return sums.after(before(report.label), of_report(report))


def frozen(standings: Mapping[str, Standing]) -> list[list[Any]]:
    """Return standings in the JSON shape that `thawed` reads."""
    return [
        [account, had.opening_minor, had.debit_minor, had.credit_minor]
        for account, had in sorted(standings.items())
    ]


def thawed(kept: list[list[Any]]) -> dict[str, Standing]:
    """Return standings as a close froze them."""
    return {account: Standing(*amounts) for account, *amounts in kept}


def untied(report: Report, standings: Mapping[str, Standing]) -> list[str]:
    """Return the stock accounts that do not come to what the report says; empty if sound."""
    wanted = {
        "material_stock": sum(row.cost_minor for row in report.worth),
        "stock_allowance": -sum(row.allowance_minor for row in report.worth),
        "parts_stock": report.parts_minor,
    }
    return [
        account
        for account, amount in wanted.items()
        if standings.get(account, Standing()).closing_minor != amount
    ]


@dataclass(frozen=True, slots=True)
class TrialBalance:
    """The accounts of a month, with the close it carries on and, once closed, its own."""

    label: str
    currency: str
    rows: tuple[Balance, ...]
    lines: tuple[Line, ...]
    carried_from: Month | None
    closed: Month | None
    untied: tuple[str, ...]

    @property
    def total(self) -> Balance:
        """The sums; openings and closings come to nought, debits to credits."""
        names = ("opening_minor", "debit_minor", "credit_minor", "closing_minor")
        year = ("year_debit_minor", "year_credit_minor")
        return Balance("", *(sum(getattr(row, name) for row in self.rows) for name in names + year))


def trial_balance(label: str) -> TrialBalance:
    """Return the trial balance of a month. Raises NotFound when the label names no month."""
    return trial_balance_of(recovered.of_month(label))


def trial_balance_of(report: Report) -> TrialBalance:
    """Return the trial balance of a month by its report."""
    label, lines = report.label, of_report(report)
    opened = before(label)
    month, year = sums.after({}, lines), sums.after(opened, lines)
    rows = [_balance(account, opened, month, year) for account in ACCOUNTS if account in year]
    return TrialBalance(
        label=label,
        currency=report.currency,
        rows=tuple(rows),
        lines=lines,
        carried_from=Month.objects.filter(label__lt=label).order_by("-label").first(),
        closed=months.closed(label),
        untied=tuple(untied(report, year)),
    )


def _balance(
    account: str,
    opened: Mapping[str, Standing],
    month: Mapping[str, Standing],
    year: Mapping[str, Standing],
) -> Balance:
    moved = month.get(account, Standing())
    return Balance(
        account=account,
        opening_minor=opened.get(account, Standing()).closing_minor,
        debit_minor=moved.debit_minor,
        credit_minor=moved.credit_minor,
        closing_minor=year[account].closing_minor,
        year_debit_minor=year[account].debit_minor,
        year_credit_minor=year[account].credit_minor,
    )


def numbers() -> dict[str, tuple[str, str]]:
    """Return key -> account number and tax code, of the accounts that have a number."""
    rows = AccountNumber.objects.values_list("key", "number", "tax_code")
    return {key: (number, tax_code) for key, number, tax_code in rows}


def unnumbered(label: str) -> tuple[str, ...]:
    """Return the accounts of a month, its openings among them, that have no number yet."""
    known = numbers()
    wanted = {*before(label), *(line.account for line in of_month(label))}
    return tuple(account for account in ACCOUNTS if account in wanted - known.keys())


def next_export() -> str:
    """Return the closed month whose journal is handed over next; "" while there is none.

    The months go in order, so that none is left out. The first to go is the newest closed one or
    any before it: what was booked by hand until then comes with the opening balances.
    """
    last = JournalExport.objects.order_by("-month").first()
    if last is None:
        newest = Month.objects.order_by("-label").first()
        return newest.label if newest else ""
    label = str(CalendarMonth.parse(last.month).next())
    return label if months.closed(label) else ""


@dataclass(frozen=True, slots=True)
class HandedOver:
    """An export with its lines, the opening balances, and the accounts' numbers as they were."""

    export: JournalExport
    currency: str
    lines: tuple[Line, ...]
    opened: Mapping[str, Standing]
    names: Mapping[str, tuple[str, str]]

    @property
    def closed(self) -> dict[str, Standing]:
        """What stands on each account after the lines."""
        return sums.after(self.opened, self.lines)


def export(number: int) -> JournalExport:
    """Return an export by its number. Raises NotFound for another one."""
    found = JournalExport.objects.filter(number=number).first()
    if found is None:
        raise NotFound(_("There is no such export."))
    return found


def handed_over(export: JournalExport) -> HandedOver:
    """Return an export with the lines it was made of.

    Raises Conflict when the closed month gives other lines than were handed over: somebody has
    changed the database past the service.
    """
    report = recovered.of_month(export.month)
    lines = of_report(report)
    if sums.digest(export.month, lines) != export.digest:
        raise Conflict(
            _(
                "The journal of %(month)s is not the one that was handed over. Run checkledger and "
                "look at the rows it names."
            )
            % {"month": export.month}
        )
    names = {key: (number, tax) for key, (number, tax) in export.accounts.items()}
    return HandedOver(export, report.currency, lines, before(export.month), names)
