"""The journal that the accountant imports: numbered, repeatable, whole, and tied to the report."""

from __future__ import annotations

import csv
import io
import json
from xml.etree import ElementTree as XML

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse

from inventory.errors import BadInput, Conflict
from inventory.journal import queries, rules, sums, writing
from inventory.ledger.rules import ledger
from inventory.models import JournalExport, Month, PlaceKind, Workshop
from inventory.months import rules as months
from inventory.months.queries import audit, recovered
from inventory.months.reports import files
from inventory.parts import rules as stock
from tests.inventory import month_makers as made
from tests.inventory.journal import recompute
from tests.inventory.month_makers import DEC_2, NOV, OCT
from tests.makers import Shop, key

pytestmark = [pytest.mark.django_db, pytest.mark.edge]

LABELS = ("2026-08", "2026-09", "2026-10", "2026-11")
SPACE = f"{{{writing.SAFT_SPACE}}}"


def numbered(by: User) -> None:
    numbers = {key_: (str(1000 + i), "") for i, key_ in enumerate(queries.ACCOUNTS)}
    rules.number_accounts(key=key(), numbers=numbers, at=DEC_2, by=by)


@pytest.fixture
def closed(shop: Shop, acke: User) -> Shop:
    """Four closed months: grinding, a purchase taken back a month later, parts bought and used."""
    moved = made.furnished_october(shop)
    stock.receive(key=key(), part=shop.screw, pieces=70, cost_minor=333, at=OCT)
    stock.count(key=key(), part=shop.screw, counted=59, reason="counted", at=OCT)
    bought = made.places.bin_of(shop.screw)
    made.move("post_kit", (bought, made.places.pieces(PlaceKind.WEARERS), 7), at=NOV, subject="K-1")
    ledger.reverse(key=key(), movement=moved["count"], reason="wrong lot", at=NOV)
    for label in LABELS:
        months.close(key=key(), label=label, at=DEC_2, by=acke)
    numbered(acke)
    return shop


def handed(label: str, by: User) -> queries.HandedOver:
    export = rules.hand_over(key=key(), label=label, at=DEC_2, by=by)
    return queries.handed_over(export)


@pytest.fixture
def exports(closed: Shop, acke: User) -> list[queries.HandedOver]:
    return [handed(label, acke) for label in LABELS]


def test_independent_script_recomputes_every_exported_month(
    exports: list[queries.HandedOver],
) -> None:
    """No line of `recompute` knows the product; it reads the files only."""
    for out in exports:
        report = recovered.of_month(out.export.month)
        texts = [files.FORMATS[name].make(report).decode() for name in ("csv", "postings")]
        found = recompute.differences(*texts, writing.journal_json(out).decode())
        assert found == [], out.export.month
    assert sum(len(out.lines) for out in exports) > 10


def test_independent_script_finds_a_changed_line(exports: list[queries.HandedOver]) -> None:
    report = recovered.of_month("2026-10")
    texts = [files.FORMATS[name].make(report).decode() for name in ("csv", "postings")]
    document = json.loads(writing.journal_json(exports[2]))
    for line in document["lines"][:2]:
        side = "debit_minor" if line["debit_minor"] else "credit_minor"
        line[side] += 1
    document["debit_minor"] += 1
    document["credit_minor"] += 1
    assert recompute.differences(*texts, json.dumps(document)) != []


def test_exports_are_numbered_without_gaps_and_the_same_each_time(
    exports: list[queries.HandedOver],
) -> None:
    assert [out.export.number for out in exports] == [1, 2, 3, 4]
    again = queries.handed_over(JournalExport.objects.get(number=3))
    for file in writing.FILES:
        assert file.make(again) == file.make(exports[2])


def test_no_line_twice_and_none_missing(exports: list[queries.HandedOver]) -> None:
    found = [
        (line.voucher, line.account, line.debit_minor, line.credit_minor)
        for out in exports
        for line in out.lines
    ]
    assert len(found) == len(set(found))
    booked = sum(
        len(report.journal) + len(report.parts_journal)
        for report in map(recovered.of_month, LABELS)
    )
    assert len(found) == booked


def test_month_goes_out_once_in_order_and_closed(closed: Shop, acke: User) -> None:
    same = key()
    first = rules.hand_over(key=same, label="2026-10", at=DEC_2, by=acke)
    assert rules.hand_over(key=same, label="2026-10", at=DEC_2, by=acke) == first
    for label in ("2026-10", "2026-09", "2026-12"):
        with pytest.raises(Conflict):
            rules.hand_over(key=key(), label=label, at=DEC_2, by=acke)
    assert queries.next_export() == "2026-11"


def test_account_without_a_number_is_told_and_refused(closed: Shop, acke: User) -> None:
    rules.number_accounts(key=key(), numbers={"recovery": ("", "")}, at=DEC_2, by=acke)
    with pytest.raises(Conflict) as refused:
        rules.hand_over(key=key(), label="2026-10", at=DEC_2, by=acke)
    assert refused.value.facts["accounts"] == ["recovery"]


@pytest.mark.parametrize("number", ["=1+1", "12 34", "x" * 21])
def test_bad_account_number_is_refused_at_its_field(acke: User, number: str) -> None:
    with pytest.raises(BadInput) as refused:
        rules.number_accounts(key=key(), numbers={"recovery": (number, "")}, at=DEC_2, by=acke)
    assert refused.value.field == "recovery"


def test_later_numbers_do_not_change_an_export(
    exports: list[queries.HandedOver], acke: User
) -> None:
    before = writing.journal_json(exports[2])
    rules.number_accounts(key=key(), numbers={"recovery": ("9999", "7")}, at=DEC_2, by=acke)
    assert writing.journal_json(queries.handed_over(exports[2].export)) == before


def test_check_totals_tie_to_report_and_trial_balance(exports: list[queries.HandedOver]) -> None:
    for out in exports:
        balance = queries.trial_balance(out.export.month)
        total = balance.total
        assert (total.opening_minor, total.closing_minor, balance.untied) == (0, 0, ())
        assert total.debit_minor == total.credit_minor == out.export.debit_minor
        report = recovered.of_month(out.export.month)
        closing = {row.account: row.closing_minor for row in balance.rows}
        assert closing.get("parts_stock", 0) == report.parts_minor
        stock_minor = closing.get("material_stock", 0) + closing.get("stock_allowance", 0)
        assert stock_minor == report.carried_minor


def test_opening_is_the_last_closing_with_both_digests(closed: Shop) -> None:
    october, november = (queries.trial_balance(label) for label in LABELS[2:])
    closing = {row.account: row.closing_minor for row in october.rows}
    opening = {row.account: row.opening_minor for row in november.rows}
    assert {k: v for k, v in opening.items() if v} == {k: v for k, v in closing.items() if v}
    assert november.carried_from is not None
    assert november.closed is not None
    assert november.closed.previous_digest == november.carried_from.digest


def test_standings_are_frozen_and_the_same_as_summed_anew(closed: Shop) -> None:
    kept = queries.thawed(Month.objects.get(label="2026-11").figures["accounts"])
    summed: dict[str, sums.Standing] = {}
    for label in LABELS:
        summed = sums.after(summed, queries.of_month(label))
    assert kept == summed
    assert all(check.ok for check in audit.check())


def test_new_year_carries_stock_on_and_begins_the_rest_anew() -> None:
    year = {
        "material_stock": sums.Standing(100, 50, 30),
        "material_used": sums.Standing(0, 30, 0),
        "purchases": sums.Standing(0, 0, 50),
        sums.BROUGHT_FORWARD: sums.Standing(-100),
    }
    opened = sums.new_year(year)
    assert opened == {
        "material_stock": sums.Standing(120),
        sums.BROUGHT_FORWARD: sums.Standing(-120),
    }


def rows_of(content: bytes, delimiter: str) -> list[dict[str, str]]:
    text = content.decode("utf-8-sig")
    return list(csv.DictReader(io.StringIO(text, newline=""), delimiter=delimiter))


def test_both_dialects_say_the_same(exports: list[queries.HandedOver]) -> None:
    out = exports[2]
    point, comma = (writing.journal_csv(out, one) for one in (writing.POINT, writing.COMMA))
    assert comma.startswith(b"\xef\xbb\xbf")
    assert not point.startswith(b"\xef\xbb\xbf")
    ones, others = rows_of(point, ","), rows_of(comma, ";")
    for one, other in zip(ones, others, strict=True):
        assert one["debit"] == other["debit"].replace(",", ".")
        assert one["credit"] == other["credit"].replace(",", ".")
        year, month, day = one["date"].split("-")
        assert other["date"] == f"{day}.{month}.{year}"
        assert one["account"] == other["account"]
    minor = sum(round(float(one["debit"] or 0) * 100) for one in ones)
    assert minor == out.export.debit_minor


@pytest.mark.parametrize("dialect", [writing.POINT, writing.COMMA])
def test_a_csvw_reader_reads_each_dialect_by_its_description(
    exports: list[queries.HandedOver], dialect: writing.Dialect
) -> None:
    """W3C, Metadata Vocabulary for Tabular Data (2015): the delimiter is in the description."""
    told = json.loads(writing.described("journal.csv", dialect))
    rows = rows_of(writing.journal_csv(exports[2], dialect), told["dialect"]["delimiter"])
    assert list(rows[0]) == [column["name"] for column in told["tableSchema"]["columns"]]
    debit = next(one for one in told["tableSchema"]["columns"] if one["name"] == "debit")
    assert debit["datatype"]["format"]["decimalChar"] == dialect.decimal


def test_saft_ledger_part_has_its_order_and_rolls_forward(
    exports: list[queries.HandedOver],
) -> None:
    """Order of elements: the Norwegian schema of SAF-T Financial, which says that it is based on
    the OECD's version 2.00 (read second-hand). A public example has control totals that pass while
    its openings do not balance and do not roll forward: both are asked here.
    """
    root = XML.fromstring(writing.journal_saft(exports[2]))  # noqa: S314  made here
    entries = root.find(f"{SPACE}GeneralLedgerEntries")
    assert entries is not None
    names = [child.tag.removeprefix(SPACE) for child in entries]
    assert names == ["NumberOfEntries", "TotalDebit", "TotalCredit", "Journal"]
    transactions = entries.findall(f".//{SPACE}Transaction")
    assert entries.findtext(f"{SPACE}NumberOfEntries") == str(len(transactions))
    moved: dict[str, int] = {}
    totals = {"Debit": 0, "Credit": 0}
    for transaction in transactions:
        rest = 0
        for line in transaction.findall(f"{SPACE}Line"):
            account = line.findtext(f"{SPACE}AccountID") or ""
            for side, sign in (("Debit", 1), ("Credit", -1)):
                text = line.findtext(f"{SPACE}{side}Amount/{SPACE}Amount")
                if text:
                    amount = int(text.replace(".", ""))
                    totals[side] += amount
                    rest += sign * amount
                    moved[account] = moved.get(account, 0) + sign * amount
        assert rest == 0
    for side, total in totals.items():
        assert entries.findtext(f"{SPACE}Total{side}") == f"{total // 100}.{total % 100:02d}"
    opened = 0
    for row in root.findall(f".//{SPACE}Account"):
        edges = [_edge(row, edge) for edge in ("Opening", "Closing")]
        opened += edges[0]
        assert edges[0] + moved.get(row.findtext(f"{SPACE}AccountID") or "", 0) == edges[1]
    assert opened == 0


def _edge(row: XML.Element, edge: str) -> int:
    debit, credit = (row.findtext(f"{SPACE}{edge}{side}Balance") for side in ("Debit", "Credit"))
    return int((debit or "0").replace(".", "")) - int((credit or "0").replace(".", ""))


def test_pages_lead_from_the_books_to_a_file(client: Client, closed: Shop, acke: User) -> None:
    client.force_login(acke)
    page = client.get(reverse("books")).content.decode()
    assert "2026-11" in page
    sent = client.post(reverse("books"), {"key": str(key()), "month": "2026-11"}, follow=True)
    assert "Export 1" in sent.content.decode()
    name = "journal-0001-2026-11-comma.csv"
    answer = client.get(reverse("books-file", args=[1, name]))
    assert answer.headers["Content-Disposition"] == f'attachment; filename="{name}"'
    assert client.get(reverse("books-file", args=[1, "other.csv"])).status_code == 404
    balance = client.get(reverse("month-balance", args=["2026-11"])).content.decode()
    assert Month.objects.get(label="2026-10").digest in balance


def test_owner_chooses_the_policy_and_must_say_why(client: Client, olga: User) -> None:
    client.force_login(olga)
    address = reverse("books-write-down")
    asked = {"key": str(key()), "choice": "lowest", "reason": ""}
    assert client.post(address, asked).status_code == 200
    assert Workshop.the().write_down == "for_moulding"
    client.post(address, asked | {"reason": "Frames sell below cost."})
    assert (Workshop.the().write_down, Workshop.the().write_down_reason) == (
        "lowest",
        "Frames sell below cost.",
    )
