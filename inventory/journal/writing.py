"""The exported journal as files: CSV in two dialects, JSON, and the audit file's ledger part.

An edge like the report's: nothing is computed here but the wording. The lines' words are those of
the workshop's language, so that the same file comes out for everybody.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from xml.etree import ElementTree as XML

from django.utils.translation import gettext as _

from inventory.journal import sums
from inventory.journal.queries import HandedOver
from inventory.journal.sums import Line
from inventory.masters import queries as practice
from inventory.models import Workshop
from inventory.months.reports import headings
from inventory.months.reports.naming import workshop_language
from inventory.months.reports.tabular import safe

SAFT_SPACE = "urn:OECD:StandardAuditFile-Taxation/2.00"
MINOR_UNITS = 100


@dataclass(frozen=True, slots=True)
class Dialect:
    """How a CSV file is written; its CSVW description says the same to a machine."""

    delimiter: str
    decimal: str
    day: str
    mark: str

    def amount(self, minor: int) -> str:
        """Return an amount with two decimals; nought is an empty cell."""
        if not minor:
            return ""
        return f"{minor // MINOR_UNITS}{self.decimal}{minor % MINOR_UNITS:02d}"

    def written_day(self, iso: str) -> str:
        return date.fromisoformat(iso).strftime(self.day)


POINT = Dialect(delimiter=",", decimal=".", day="%Y-%m-%d", mark="")
"""Comma and point, days as 2026-10-31: RFC 4180, for programs."""
COMMA = Dialect(delimiter=";", decimal=",", day="%d.%m.%Y", mark="\ufeff")
"""Semicolon and comma, days as 31.10.2026, with a byte-order mark: for spreadsheets where a comma
is the decimal sign."""

# Name, XML Schema datatype, and what it says.
COLUMNS = (
    ("export", "integer", "Number of this export; without gaps"),
    ("line", "integer", "Line in this export, from 1"),
    ("voucher", "string", "Voucher: a debit and its credit; never used twice"),
    ("date", "date", "Posting date: the last day of the month"),
    ("account", "string", "Account number in the accountant's chart"),
    ("account_name", "string", "What the workshop calls the account"),
    ("debit", "decimal", "Debit; empty in a credit line"),
    ("credit", "decimal", "Credit; empty in a debit line"),
    ("currency", "string", "ISO 4217 code"),
    ("text", "string", "What happened"),
    ("of", "string", "Class of material (polymer/colour/origin) or code of the spare part"),
    ("tax_code", "string", "Tax code as the accountant has set it for the account; may be empty"),
)


def _rows(out: HandedOver, dialect: Dialect) -> Iterator[list[str]]:
    for line in out.lines:
        number, tax_code = out.names[line.account]
        yield [
            str(out.export.number),
            str(line.number),
            line.voucher,
            dialect.written_day(line.day),
            safe(number),
            safe(str(headings.ACCOUNTS[line.account])),
            dialect.amount(line.debit_minor),
            dialect.amount(line.credit_minor),
            out.currency,
            safe(_text(line)),
            safe(line.of),
            safe(tax_code),
        ]


def _text(line: Line) -> str:
    return f"{line.voucher[:7]} {headings.JOURNAL[line.text_key]}"


def journal_csv(out: HandedOver, dialect: Dialect) -> bytes:
    """Return the lines as CSV in a dialect, UTF-8, lines ended by CRLF."""
    text = io.StringIO(newline="")
    writer = csv.writer(text, delimiter=dialect.delimiter, lineterminator="\r\n")
    with workshop_language():
        writer.writerow([name for name, _type, _words in COLUMNS])
        writer.writerows(_rows(out, dialect))
    return (dialect.mark + text.getvalue()).encode()


def described(name: str, dialect: Dialect) -> bytes:
    """Return a CSV file's CSVW description (W3C, Metadata Vocabulary for Tabular Data, 2015)."""
    columns = [
        {
            "name": column,
            "titles": column,
            "dc:description": words,
            "datatype": _datatype(kind, dialect),
            "required": column not in ("debit", "credit", "tax_code"),
        }
        for column, kind, words in COLUMNS
    ]
    document = {
        "@context": ["http://www.w3.org/ns/csvw", {"@language": "en"}],
        "url": name,
        "dialect": {
            "encoding": "utf-8",
            "header": True,
            "delimiter": dialect.delimiter,
            "doubleQuote": True,
        },
        "tableSchema": {"columns": columns, "primaryKey": ["export", "line"]},
    }
    return (json.dumps(document, indent=2, ensure_ascii=False) + "\n").encode()


def _datatype(kind: str, dialect: Dialect) -> object:
    if kind == "decimal":
        return {"base": "decimal", "format": {"decimalChar": dialect.decimal, "pattern": "0.00"}}
    if kind == "date":
        return {"base": "date", "format": "yyyy-MM-dd" if dialect is POINT else "dd.MM.yyyy"}
    return kind


def journal_json(out: HandedOver) -> bytes:
    """Return the export as JSON, money in minor units, with the balances that it ties to."""
    export = out.export
    with workshop_language():
        lines = [
            {
                "line": line.number,
                "voucher": line.voucher,
                "date": line.day,
                "account": out.names[line.account][0],
                "account_key": line.account,
                "account_name": str(headings.ACCOUNTS[line.account]),
                "debit_minor": line.debit_minor,
                "credit_minor": line.credit_minor,
                "text_key": line.text_key,
                "text": _text(line),
                "of": line.of,
                "tax_code": out.names[line.account][1],
            }
            for line in out.lines
        ]
    document: dict[str, object] = {"practice": True} if practice.is_on() else {}
    document |= {
        "export": export.number,
        "month": export.month,
        "currency": out.currency,
        "debit_minor": export.debit_minor,
        "credit_minor": export.credit_minor,
        "lines_sha256": export.digest,
        "balances": [
            {
                "account": out.names[account][0],
                "account_key": account,
                "opening_minor": out.opened.get(account, sums.Standing()).closing_minor,
                "closing_minor": standing.closing_minor,
            }
            for account, standing in out.closed.items()
        ],
        "lines": lines,
    }
    return (json.dumps(document, indent=1, ensure_ascii=False, sort_keys=True) + "\n").encode()


def journal_saft(out: HandedOver) -> bytes:
    """Return the general-ledger part of an audit file in the OECD's element names.

    Source: OECD, Guidance for the Standard Audit File - Tax, version 2.0, as a national schema
    that is based on it renders names and their order (second-hand; the OECD published no schema
    of its own for 2.00). `AccountType` is from memory. It holds the accounts with their balances
    and the entries with control totals; it is no whole audit file, and no tax office's profile.
    """
    XML.register_namespace("", SAFT_SPACE)
    root = XML.Element(_tag("AuditFile"))
    with workshop_language():
        _header(_below(root, "Header"), out)
        accounts = _below(_below(root, "MasterFiles"), "GeneralLedgerAccounts")
        for account, standing in out.closed.items():
            _account(_below(accounts, "Account"), account, standing, out)
        _entries(_below(root, "GeneralLedgerEntries"), out)
    XML.indent(root)
    made: bytes = XML.tostring(root, encoding="utf-8", xml_declaration=True)
    return made + b"\n"


def _header(header: XML.Element, out: HandedOver) -> None:
    workshop = Workshop.the()
    words = _("PRACTICE: everything on this paper is invented") if practice.is_on() else ""
    for name, text in (
        ("AuditFileVersion", "2.00"),
        ("AuditFileCountry", workshop.country),
        ("AuditFileDateCreated", out.export.made_at.date().isoformat()),
        ("SoftwareCompanyName", "Hingeback"),
        ("SoftwareID", "Hingeback"),
        ("DefaultCurrencyCode", out.currency),
        ("HeaderComment", words),
    ):
        if text:
            _below(header, name).text = text


def _account(row: XML.Element, account: str, standing: sums.Standing, out: HandedOver) -> None:
    _below(row, "AccountID").text = out.names[account][0]
    _below(row, "AccountDescription").text = str(headings.ACCOUNTS[account])
    _below(row, "AccountType").text = "Asset" if account in sums.STOCK else "Other"
    opening_minor = out.opened.get(account, sums.Standing()).closing_minor
    for edge, signed_minor in (("Opening", opening_minor), ("Closing", standing.closing_minor)):
        side = "Debit" if signed_minor >= 0 else "Credit"
        _below(row, f"{edge}{side}Balance").text = _plain(abs(signed_minor))


def _entries(entries: XML.Element, out: HandedOver) -> None:
    vouchers = _by_voucher(out.lines)
    # The count is of transactions, not of lines.
    _below(entries, "NumberOfEntries").text = str(len(vouchers))
    _below(entries, "TotalDebit").text = _plain(out.export.debit_minor)
    _below(entries, "TotalCredit").text = _plain(out.export.credit_minor)
    journal = _below(entries, "Journal")
    _below(journal, "JournalID").text = "STOCK"
    _below(journal, "Description").text = _("Material and spare parts")
    _below(journal, "Type").text = "STOCK"
    for voucher, lines in vouchers.items():
        _transaction(_below(journal, "Transaction"), voucher, lines, out)


def _transaction(row: XML.Element, voucher: str, lines: list[Line], out: HandedOver) -> None:
    day = date.fromisoformat(lines[0].day)
    for name, text in (
        ("TransactionID", voucher),
        ("Period", str(day.month)),
        ("PeriodYear", str(day.year)),
        ("TransactionDate", day.isoformat()),
        ("Description", _text(lines[0])),
        ("BatchID", str(out.export.number)),
        ("SystemEntryDate", out.export.made_at.date().isoformat()),
        ("GLPostingDate", day.isoformat()),
    ):
        _below(row, name).text = text
    for line in lines:
        entry = _below(row, "Line")
        _below(entry, "RecordID").text = str(line.number)
        _below(entry, "AccountID").text = out.names[line.account][0]
        _below(entry, "SourceDocumentID").text = voucher
        _below(entry, "Description").text = f"{_text(line)}: {line.of}"
        side = "DebitAmount" if line.debit_minor else "CreditAmount"
        amount = _below(_below(entry, side), "Amount")
        amount.text = _plain(line.debit_minor or line.credit_minor)


def _by_voucher(lines: Iterable[Line]) -> dict[str, list[Line]]:
    found: dict[str, list[Line]] = {}
    for line in lines:
        found.setdefault(line.voucher, []).append(line)
    return found


def _plain(minor: int) -> str:
    """Return an amount with a point and two decimals, nought too."""
    return f"{minor // MINOR_UNITS}.{minor % MINOR_UNITS:02d}"


def _tag(name: str) -> str:
    return f"{{{SAFT_SPACE}}}{name}"


def _below(parent: XML.Element, name: str) -> XML.Element:
    return XML.SubElement(parent, _tag(name))


@dataclass(frozen=True, slots=True)
class File:
    """A file of an export: its ending, its media type, how it is made."""

    suffix: str
    media_type: str
    make: Callable[[HandedOver], bytes]


FILES: tuple[File, ...] = (
    File(".csv", "text/csv; charset=utf-8; header=present", lambda out: journal_csv(out, POINT)),
    File(
        "-comma.csv",
        "text/csv; charset=utf-8; header=present",
        lambda out: journal_csv(out, COMMA),
    ),
    File(
        ".csv-metadata.json",
        "application/csvm+json",
        lambda out: described(f"{stem(out)}.csv", POINT),
    ),
    File(
        "-comma.csv-metadata.json",
        "application/csvm+json",
        lambda out: described(f"{stem(out)}-comma.csv", COMMA),
    ),
    File(".json", "application/json", journal_json),
    File(".xml", "application/xml", journal_saft),
)


def stem(out: HandedOver) -> str:
    """Return for example "journal-0007-2026-10"."""
    return f"journal-{out.export.number:04d}-{out.export.month}"
