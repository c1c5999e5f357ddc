"""The report's files: CSV that no spreadsheet runs, a real workbook, honest JSON, a tagged PDF."""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Callable
from datetime import datetime
from decimal import Decimal

import pytest
from django.core.files.storage import storages
from django.template.loader import render_to_string
from django.utils import timezone

from inventory import outbox
from inventory.errors import KeyReused, NotFound
from inventory.furniture import numbers
from inventory.models import ClassPrice, OutboxMessage, Part, ReportFile, Scale, Workshop
from inventory.months import rules as months
from inventory.months.queries import recovered
from inventory.months.queries.recovered import Report, lines
from inventory.months.reports import (
    chart,
    document,
    files,
    interchange,
    pdf_files,
    tables,
    tabular,
)
from tests.inventory import month_makers as made
from tests.inventory.month_makers import DEC_2, NOV, OCT, weighed_in
from tests.makers import Shop, key, stocked

pytestmark = [pytest.mark.django_db, pytest.mark.edge]


@pytest.fixture
def closed(shop: Shop) -> Report:
    """October of the furnished workshop, closed, with a price for bought feedstock."""
    made.furnished_october(shop)
    ClassPrice.objects.create(
        polymer=shop.pp, origin="post_consumer_feedstock", price_minor_per_kg=95
    )
    for label in ("2026-08", "2026-09", "2026-10"):
        months.close(key=key(), label=label, at=DEC_2, by=None)
    return recovered.of_month("2026-10")


def read_csv(content: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(content.decode("utf-8"), newline=""), strict=True))


def postings(report: Report) -> bytes:
    return files.FORMATS["postings"].make(report)


@pytest.mark.parametrize(
    "start", ["=", "+", "-", "@", "\t", "\r", "\n", "\0", "＝", "＋", "－", "＠"]
)
def test_text_that_starts_a_formula_gets_an_apostrophe(start: str) -> None:
    """OWASP ASVS 5.0, requirement 1.2.10 (read); full-width signs are our own addition."""
    assert tabular.safe(f"{start}1+1") == f"'{start}1+1"


@pytest.mark.parametrize("text", ["", "1=1", "a-b", " =1", "'=1", "L-2345-6789"])
def test_other_text_is_left_alone(text: str) -> None:
    assert tabular.safe(text) == text


def test_reason_that_is_a_formula_is_harmless_in_the_csv(shop: Shop) -> None:
    box = made.box(shop)
    outside = made.at(made.PlaceKind.UNEXPLAINED)
    made.move("count_mass", (outside, box, 5), reason='=HYPERLINK("http://example.org","x")')
    (row,) = read_csv(postings(recovered.of_month("2026-10")))
    assert row["reason"].startswith("'=HYPERLINK")


def test_negative_figures_stay_numbers(closed: Report) -> None:
    rows = read_csv(tabular.figures_csv(closed))
    issued = next(
        row for row in rows if (row["row"], row["column"]) == ("lot-l-2345-6789", "issued")
    )
    assert issued["quantity"] == "-50000"
    assert issued["unit"] == "mg"


def test_figures_csv_ties_out_row_by_row(closed: Report) -> None:
    rows: dict[tuple[str, str], dict[str, int]] = {}
    for line in read_csv(tabular.figures_csv(closed)):
        if line["section"] in ("material", "elsewhere", "parts"):
            rows.setdefault((line["section"], line["row"]), {})[line["column"]] = int(
                line["quantity"]
            )
    assert rows
    for cells in rows.values():
        closing = cells.pop("closing")
        assert sum(cells.values()) == closing


def test_every_mass_in_the_csv_says_how_well_it_is_known(closed: Report) -> None:
    rows = read_csv(files.FORMATS["csv"].make(closed))
    for row in rows:
        is_mass = row["unit"] == "mg"
        assert (row["unweighed_mg"] != "") == is_mass
        assert (row["expanded_uncertainty_ug"] == "") == (row["coverage_factor"] == "")
    trusted = next(r for r in rows if (r["section"], r["column"]) == ("trust", "credited"))
    credited = next(r for r in rows if (r["row"], r["column"]) == ("total", "credited"))
    assert trusted["expanded_uncertainty_ug"] == credited["expanded_uncertainty_ug"]
    assert credited["coverage_factor"] == "2"
    assert int(credited["expanded_uncertainty_ug"]) == closed.trust.expanded_ug
    assert credited["unweighed_mg"] == "0"
    opening = next(r for r in rows if (r["row"], r["column"]) == ("total", "opening"))
    assert (opening["expanded_uncertainty_ug"], opening["unweighed_mg"]) == ("", "100000")


def test_csv_ends_lines_as_rfc_4180_says_and_is_utf_8(closed: Report) -> None:
    """RFC 4180, section 2 (from memory): records end in CRLF, all have as many fields."""
    content = tabular.figures_csv(closed)
    assert content.endswith(b"\r\n")
    assert content.count(b"\n") == content.count(b"\r\n")
    widths = {len(row) for row in csv.reader(io.StringIO(content.decode()))}
    assert widths == {len(tabular.FIGURES)}


def test_postings_csv_adds_up_to_the_figures(closed: Report) -> None:
    """Whoever has only the postings can make every figure of the boxes and lots again."""
    sums: dict[tuple[str, str], int] = {}
    for row in read_csv(postings(closed)):
        for place, column, sign in (
            (row["source"], row["source_column"], -1),
            (row["target"], row["target_column"], 1),
        ):
            sums[place, column] = sums.get((place, column), 0) + sign * int(row["quantity"])
    for material in closed.material:
        for column, cell in material.flows.cells.items():
            assert sums[material.place, column] == cell.quantity


@pytest.mark.parametrize("name", ["csv", "postings"])
def test_csvw_describes_exactly_the_columns_of_its_file(closed: Report, name: str) -> None:
    """W3C, Metadata Vocabulary for Tabular Data (2015), sections 5.2 to 5.6 (from memory)."""
    chosen = files.FORMATS[name]
    assert chosen.describe is not None
    described = json.loads(chosen.describe("file.csv", "2026-10"))
    header = next(csv.reader(io.StringIO(chosen.make(closed).decode())))
    columns = described["tableSchema"]["columns"]
    assert described["@context"][0] == "http://www.w3.org/ns/csvw"
    assert described["url"] == "file.csv"
    assert [column["titles"] for column in columns] == header
    assert {"name", "titles", "datatype", "required"} <= set(columns[0])
    assert set(described["tableSchema"]["primaryKey"]) <= set(header)


_CHECKS: dict[str, Callable[[str], object]] = {
    "string": str,
    "integer": int,
    "nonNegativeInteger": int,
    "positiveInteger": int,
    "dateTime": datetime.fromisoformat,
    "gYearMonth": str,
}


@pytest.mark.parametrize("name", ["csv", "postings"])
def test_values_have_the_datatype_that_csvw_says_and_keys_are_unique(
    closed: Report, name: str
) -> None:
    chosen = files.FORMATS[name]
    assert chosen.describe is not None
    schema = json.loads(chosen.describe("file.csv", "2026-10"))["tableSchema"]
    rows = read_csv(chosen.make(closed))
    keys = [tuple(row[part] for part in schema["primaryKey"]) for row in rows]
    assert len(set(keys)) == len(keys)
    for column in schema["columns"]:
        for row in rows:
            text = row[column["name"]]
            assert text or not column["required"]
            if text:
                _CHECKS[column["datatype"]](text)


def test_json_holds_the_figures_and_their_digest(closed: Report) -> None:
    document_ = json.loads(interchange.report_json(closed))
    assert document_["state"] == "closed"
    assert document_["figures_sha256"] == recovered.digest(closed)
    assert document_["figures"]["trust"]["credited_mg"] == 19_400
    assert document_["close"]["digest"] == months.Month.objects.get(label="2026-10").digest


def test_json_of_an_open_month_says_so(shop: Shop) -> None:
    made.furnished_october(shop)
    document_ = json.loads(interchange.report_json(recovered.of_month("2026-10")))
    assert (document_["state"], document_["close"]) == ("open", None)


def test_workbook_has_numbers_dates_and_frozen_headings(closed: Report) -> None:
    import openpyxl

    book = openpyxl.load_workbook(io.BytesIO(files.FORMATS["xlsx"].make(closed)))
    assert book.sheetnames == [
        "About",
        "Material",
        "Elsewhere",
        "Uncertainty",
        "Parts",
        "Parts value",
        "Value",
        "Journal",
        "Carried forward",
        "Postings",
    ]
    sheet = book["Material"]
    head = [cell.value for cell in sheet[1]]
    assert "Credited from returns (g)" in head
    assert sheet.freeze_panes == "B2"
    row = next(r for r in sheet.iter_rows(min_row=2) if r[0].value == "lot-l-2345-6789")
    assert row[head.index("Issued to moulding (g)")].value == -50
    moment = book["Postings"]["E2"]
    assert moment.is_date
    assert moment.value == datetime(2026, 10, 14, 12, 0)  # noqa: DTZ001  the workshop's clock


def test_every_mass_of_the_worth_says_how_well_it_is_known(closed: Report) -> None:
    import openpyxl

    book = openpyxl.load_workbook(io.BytesIO(files.FORMATS["xlsx"].make(closed)))
    head, *rows = book["Value"].iter_rows(values_only=True)
    masses = [at for at, name in enumerate(head) if str(name).endswith("mass (g)")]
    assert len(masses) == 5
    assert any(row[at] for row in rows for at in masses)
    *classes, total = rows
    assert all(str(total[at]).startswith("=SUM(") for at in masses)
    for row in classes:
        for at in masses:
            assert bool(row[at]) == (row[at + 1] is not None or row[at + 2] is not None)
    received = head.index("Received mass (g)")
    of_returns = next(row for row in rows if row[0] == "PP/slate/post_consumer_return")
    assert of_returns[received : received + 3] == (19.4, pytest.approx(0.011577, abs=1e-5), None)


def test_every_posting_of_the_workbook_says_how_well_its_mass_is_known(closed: Report) -> None:
    import openpyxl

    book = openpyxl.load_workbook(io.BytesIO(files.FORMATS["xlsx"].make(closed)))
    head, *rows = book["Postings"].iter_rows(values_only=True)
    at = head.index("Mass (g)")
    assert head[at : at + 4] == ("Mass (g)", "± (g, k = 2)", "Not weighed (g)", "Pieces")
    for row in rows:
        mass_g, spread_g, unweighed_g, pieces = row[at : at + 4]
        assert (pieces is None) == (spread_g is not None or unweighed_g is not None)
        assert (mass_g is None) == (pieces is not None)
    strip = next(row for row in rows if row[2] == "strip_down")
    assert strip[at : at + 3] == (19.4, pytest.approx(0.011577, abs=1e-5), None)


def test_what_came_in_late_says_how_well_it_is_known(closed: Report, shop: Shop) -> None:
    made.weighed_in("F-CCCC-4444", 18_300)
    made.stripped(shop, "F-CCCC-4444", "18.300 g")
    arrival, row = recovered.of_month("2026-11").late
    assert (arrival.known.booked_mg, arrival.known.readings) == (18_300, 0)
    assert (row.belongs_to, row.mass_mg, row.known.readings) == ("2026-10", 18_300, 1)
    assert row.known.expanded_ug == pytest.approx(11_577, abs=2)


def test_what_came_in_late_is_told_in_words(closed: Report, shop: Shop) -> None:
    made.weighed_in("F-CCCC-4444", 18_300)
    facts = document.facts(recovered.of_month("2026-11"), None, "en")
    data = render_to_string("inventory/report/document.html", facts).partition("Came in late")[2]
    assert ">weigh-in</td>" in data
    assert "weigh_in" not in data.partition("</table>")[0]


def test_workbook_holds_no_formula_but_its_own_totals(shop: Shop) -> None:
    import openpyxl

    Part.objects.filter(pk=shop.screw.pk).update(name="=1+1")
    box, outside = made.box(shop), made.at(made.PlaceKind.UNEXPLAINED)
    made.move("count_mass", (outside, box, 5), reason="=SUM(A1:A9)")
    content = files.FORMATS["xlsx"].make(recovered.of_month("2026-10"))
    book = openpyxl.load_workbook(io.BytesIO(content))
    cells = [cell for sheet in book for row in sheet.iter_rows() for cell in row]
    assert "=1+1" in [cell.value for cell in cells]
    formulas = [str(cell.value) for cell in cells if cell.data_type == "f"]
    assert {cell.data_type for cell in cells} <= {"s", "n", "d", "f"}
    assert all(re.fullmatch(r"=SUM\([A-Z]+2:[A-Z]+\d+\)", text) for text in formulas)


def test_totals_of_the_workbook_are_formulas_that_agree_with_the_report(closed: Report) -> None:
    import openpyxl

    content = io.BytesIO(files.FORMATS["xlsx"].make(closed))
    book, kept = openpyxl.load_workbook(content), openpyxl.load_workbook(content, data_only=True)
    for name in ("Material", "Value", "Journal", "Parts value", "Carried forward"):
        sheet = book[name]
        assert sheet.auto_filter.ref is not None
        for cell in sheet[sheet.max_row][1:]:
            if cell.value is None:
                continue
            column = [row[cell.column - 1].value or 0 for row in sheet.iter_rows(2, cell.row - 1)]
            shown = kept[name].cell(cell.row, cell.column).value
            assert shown == pytest.approx(sum(column), abs=1e-9), (name, cell.coordinate)
    heads = [cell.value for cell in book["Material"][1]]
    closing = kept["Material"].cell(kept["Material"].max_row, heads.index("Closing (g)") + 1)
    assert closing.value == closed.total.closing / 1000
    debit, credit = (kept["Journal"].cell(kept["Journal"].max_row, n).value for n in (4, 5))
    assert debit == credit == sum(line.debit_minor for line in closed.journal) / 100


def test_pdf_is_tagged_titled_and_carries_the_postings(closed: Report) -> None:
    import pikepdf
    from pypdf import PdfReader

    content = document.report_pdf(closed)
    with pikepdf.open(io.BytesIO(content)) as pdf:
        assert bool(pdf.Root.MarkInfo.Marked)
        assert str(pdf.Root.Lang) == "en"
        assert "/StructTreeRoot" in pdf.Root
        assert list(pdf.attachments) == ["recovered-material-2026-10-tidewrack-frames-postings.csv"]
        attached = next(iter(pdf.attachments.values())).get_file().read_bytes()
        assert attached == postings(closed)
        with pdf.open_metadata() as metadata:
            assert metadata["pdfaid:part"] == "3"
            assert metadata["dc:title"] == "Recovered material 2026-10, Tidewrack Frames"
    reader = PdfReader(io.BytesIO(content))
    texts = [page.extract_text() for page in reader.pages]
    for number, text in enumerate(texts, start=1):
        assert f"{number} / {len(texts)}" in text
    whole = " ".join(texts)
    month = months.Month.objects.get(label="2026-10")
    for wanted in (
        "19.400 g",
        "± 0.012 g",
        "−117.000",
        month.digest,
        "Accountant",
        "do not change",
    ):
        assert wanted in whole


def test_pdf_tags_headings_tables_and_the_pictures_words(closed: Report) -> None:
    import pikepdf

    with pikepdf.open(io.BytesIO(document.report_pdf(closed))) as pdf:
        found: list[str] = []
        words: list[str] = []
        stack = [pdf.Root.StructTreeRoot]
        while stack:
            node = stack.pop()
            if not isinstance(node, pikepdf.Dictionary):
                continue
            found.append(str(node.get("/S", "")))
            if node.get("/S") == "/Figure":
                words.append(str(node.get("/Alt", "")))
            children = node.get("/K", [])
            stack += list(children) if isinstance(children, pikepdf.Array) else [children]
    assert {"/H1", "/H2", "/Table", "/TH", "/TD", "/Figure"} <= set(found)
    assert any("Opening 100.000 g" in text for text in words)


def test_pdf_of_a_closed_month_is_the_same_to_the_byte(closed: Report) -> None:
    first = document.report_pdf(closed)
    weighed_in("F-LATER", 21_000, at_=NOV)
    Workshop.objects.update(name="Another name")
    assert document.report_pdf(recovered.of_month("2026-10")) == first


def test_workbook_csv_and_json_of_a_closed_month_are_the_same_to_the_byte(closed: Report) -> None:
    names = ("csv", "postings", "xlsx", "json")
    first = [files.FORMATS[name].make(closed) for name in names]
    weighed_in("F-LATER", 21_000, at_=NOV)
    Scale.objects.update(calibration_u_ug=1)
    Scale.objects.filter(name="Fine scale").update(name="Renamed")
    again = recovered.of_month("2026-10")
    assert [files.FORMATS[name].make(again) for name in names] == first


def test_pdf_of_an_open_month_says_that_it_is_preliminary(shop: Shop) -> None:
    from pypdf import PdfReader

    made.furnished_october(shop)
    content = document.report_pdf(recovered.of_month("2026-10"))
    assert "Preliminary" in PdfReader(io.BytesIO(content)).pages[0].extract_text()


def test_report_of_a_month_without_entries_can_be_made(db: None) -> None:
    report = recovered.of_month("2031-03")
    for name, chosen in files.FORMATS.items():
        if name != "evidence":
            assert chosen.make(report)
    with pytest.raises(NotFound, match="Nothing was booked"):
        files.FORMATS["evidence"].make(report)


def test_long_tables_repeat_their_headings(shop: Shop) -> None:
    from pypdf import PdfReader

    for number in range(80):
        Part.objects.create(code=f"part-{number}", name=f"Part {number}")
    for part in Part.objects.filter(code__startswith="part-"):
        stocked(part, 3)
    pages = PdfReader(io.BytesIO(document.report_pdf(recovered.of_month("2026-10")))).pages
    with_parts = [text for page in pages if " part-" in (text := page.extract_text())]
    assert len(with_parts) > 1
    assert all("Posted in kits" in text for text in with_parts)


@pytest.mark.parametrize(
    "url",
    ["file:///etc/hostname", "http://127.0.0.1:9/x.png", "https://example.org/x", "ftp://x/y"],
)
def test_fetcher_refuses_everything_but_data(url: str) -> None:
    import weasyprint
    from weasyprint.urls import FatalURLFetchingError

    html = f'<img src="{url}">'
    with pytest.raises(FatalURLFetchingError):
        weasyprint.HTML(string=html, url_fetcher=document._fetcher()).render()


def test_names_from_the_books_are_escaped_in_the_pdf(shop: Shop) -> None:
    from pypdf import PdfReader

    Workshop.objects.update(name='<img src="file:///etc/hostname">Frames')
    made.furnished_october(shop)
    content = document.report_pdf(recovered.of_month("2026-10"))
    assert "<img" in PdfReader(io.BytesIO(content)).pages[0].extract_text()


def test_waterfall_steps_from_opening_to_closing(closed: Report) -> None:
    found = chart.bars(closed)
    level = found[0].end_mg
    for bar in found[1:-1]:
        assert bar.start_mg == level
        level = bar.end_mg
    assert level == found[-1].end_mg == closed.total.closing


def test_tables_leave_out_columns_without_an_entry(closed: Report) -> None:
    heads = [key for key, _heading in tables.material(closed).heads]
    assert "virgin" not in heads
    assert "credited" in heads
    assert all(len(line.figures) in (0, len(heads)) for line in tables.material(closed).lines)


@pytest.mark.parametrize(
    ("mass_mg", "text"), [(0, "0.000"), (-1, "−0.001"), (1_234_567, "1\u202f234.567")]
)
def test_grams_are_exact_and_fixed(mass_mg: int, text: str) -> None:
    assert numbers.grams(mass_mg) == text
    assert Decimal(text.replace("−", "-").replace("\u202f", "")).scaleb(3) == mass_mg


@pytest.mark.parametrize(
    ("ug", "text"), [(0, "0.000"), (1, "0.001"), (1000, "0.001"), (1001, "0.002")]
)
def test_uncertainty_is_never_rounded_down(ug: int, text: str) -> None:
    assert numbers.uncertainty_g(ug) == text


def test_worker_makes_the_file_and_says_when_it_is_ready(closed: Report) -> None:
    asked = pdf_files.ask(key=key(), label="2026-10", at=OCT, by=None)
    assert (asked.state, asked.percent) == (ReportFile.State.WAITING, 0)
    assert outbox.settle(OutboxMessage.objects.get(topic="report.pdf").pk, at=timezone.now())
    asked.refresh_from_db()
    assert (asked.state, asked.percent) == (ReportFile.State.READY, 100)
    assert asked.digest == recovered.digest(closed)
    assert asked.file_name.startswith("recovered-material-2026-10-tidewrack-frames-closed-")
    with pdf_files.opened(asked) as kept:
        assert kept.read() == document.report_pdf(closed)


def test_asking_twice_under_one_id_owes_one_file(closed: Report) -> None:
    same = key()
    first = pdf_files.ask(key=same, label="2026-10", at=OCT, by=None)
    assert pdf_files.ask(key=same, label="2026-10", at=OCT, by=None) == first
    assert OutboxMessage.objects.filter(topic="report.pdf").count() == 1
    with pytest.raises(KeyReused):
        pdf_files.ask(key=same, label="2026-09", at=OCT, by=None)


def test_asking_for_no_month_is_refused(db: None) -> None:
    with pytest.raises(NotFound):
        pdf_files.ask(key=key(), label="2026-99", at=OCT, by=None)


def test_settling_again_leaves_a_ready_file_alone(
    closed: Report, monkeypatch: pytest.MonkeyPatch
) -> None:
    pdf_files.ask(key=key(), label="2026-10", at=OCT, by=None)
    owed = OutboxMessage.objects.get(topic="report.pdf")
    pdf_files.make_pdf(owed)
    monkeypatch.setattr(document, "report_pdf", lambda *facts: pytest.fail(str(facts)))
    pdf_files.make_pdf(owed)


def test_file_that_went_missing_is_made_again(closed: Report) -> None:
    asked = pdf_files.ask(key=key(), label="2026-10", at=OCT, by=None)
    owed = OutboxMessage.objects.get(topic="report.pdf")
    pdf_files.make_pdf(owed)
    asked.refresh_from_db()
    storages["reports"].delete(asked.file_name)
    pdf_files.make_pdf(owed)
    assert pdf_files.is_there(asked)


def _out_of_paper(*facts: object) -> bytes:
    raise OSError("no room left")


def test_failure_is_shown_and_the_duty_stays_owed(
    closed: Report, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = pdf_files.ask(key=key(), label="2026-10", at=OCT, by=None)
    monkeypatch.setattr(document, "report_pdf", _out_of_paper)
    owed = OutboxMessage.objects.get(topic="report.pdf")
    assert not outbox.settle(owed.pk, at=timezone.now())
    asked.refresh_from_db()
    assert asked.state == ReportFile.State.FAILED
    assert storages["reports"].listdir("") == ([], [])
    monkeypatch.undo()
    pdf_files.make_pdf(owed)
    asked.refresh_from_db()
    assert asked.state == ReportFile.State.READY


def test_lines_of_chosen_movements_only(closed: Report) -> None:
    strip = closed.material[1].flows.cell("credited").movements
    found = lines.of_month(closed, strip)
    assert {line.number for line in found} == set(strip)
    assert sum(line.cost_minor for line in found) == 160
