"""Practice cannot be taken for real, and real data never mixes with it."""

from __future__ import annotations

import io
import subprocess
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.contrib.auth.models import User
from django.core.management import CommandError, call_command
from django.test import Client
from pypdf import PdfReader

from inventory.furniture.pages.practice import HEADER
from inventory.masters import queries as practice
from inventory.models import Polymer, Workshop
from inventory.months.queries import recovered
from inventory.months.reports import files
from returns.bench.pages import labels
from returns.filing.pages import slip_pdf
from returns.models import FrameModel
from tests.makers import Shop
from tests.returns import customer_makers as customers
from tests.returns.bench.test_labels import scanned

pytestmark = [pytest.mark.django_db, pytest.mark.edge]

UP = Path(settings.BASE_DIR) / "deploy" / "up.sh"


@pytest.fixture
def invented(shop: Shop) -> Shop:
    Workshop.objects.update(demo=True)
    practice.forget()
    return shop


def words(pdf: bytes) -> str:
    return "\n".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages)


@pytest.mark.parametrize("path", ["/", "/enter/", "/no-such-page/", "/api/problems/", "/api/docs/"])
def test_every_answer_says_practice(client: Client, invented: Shop, path: str) -> None:
    answer = client.get(path)
    assert answer.headers[HEADER] == "everything here is invented"
    title = answer.content.decode().partition("<title>")[2].partition("</title>")[0]
    assert "Practice" in title or path == "/api/problems/"


def test_the_api_says_practice_also_when_it_refuses(client: Client, invented: Shop) -> None:
    for path in ("/api/frames/", "/api/models/", "/api/nothing/"):
        assert HEADER in client.get(path).headers, path


def test_a_real_workshop_says_nothing_of_it(client: Client, shop: Shop) -> None:
    answer = client.get("/")
    assert HEADER not in answer.headers
    assert "Practice" not in answer.content.decode()
    assert "is-practice" not in answer.content.decode()


def test_downloads_carry_it_in_their_names(client: Client, invented: Shop, olga: User) -> None:
    client.force_login(olga)
    for path in ("/owner/models/template.csv", "/owner/sold/template.csv"):
        assert 'filename="practice-' in client.get(path).headers["Content-Disposition"]
    practice.forget()
    Workshop.objects.update(demo=False)
    named = client.get("/owner/models/template.csv").headers["Content-Disposition"]
    assert "practice-" not in named


@pytest.mark.parametrize("size", slip_pdf.SIZES)
def test_slips_say_so_on_paper(invented: Shop, size: str) -> None:
    request = customers.sent_back(invented)
    assert "PRACTICE" in words(slip_pdf.make(request, size=size))
    Workshop.objects.update(demo=False)
    assert "PRACTICE" not in words(slip_pdf.make(request, size=size))


def test_every_paper_that_is_drawn_carries_the_mark() -> None:
    papers = [
        path
        for room in ("inventory", "returns")
        for path in (Path(settings.BASE_DIR) / room / "templates").rglob("*.html")
        if "<style>" in path.read_text(encoding="utf-8")
        and path.name not in ("practice_mark.html", "letter.html")  # letters say it in words
    ]
    assert len(papers) >= 6
    for path in papers:
        text = path.read_text(encoding="utf-8")
        marked = ("{% practice_mark", "bench/labels/one.html", "bench/labels/address_one.html")
        assert any(mark in text for mark in marked), path


@pytest.mark.parametrize("make", [labels.labels_pdf, labels.sheet_pdf])
def test_labels_say_so_on_paper(invented: Shop, make: Any) -> None:
    label = labels.Label("F-2345-6789", ("Avocet, Slate", "R-1", "by 2026-11-01"))
    assert "PRACTICE" in words(make([label, label]))
    Workshop.objects.update(demo=False)
    assert "PRACTICE" not in words(make([label, label]))


@pytest.mark.parametrize("size", [(70, 40), (38, 21), (100, 60)])
def test_a_camera_still_reads_a_practice_label(
    invented: Shop, size: tuple[int, int], tmp_path: Path
) -> None:
    Workshop.objects.update(label_width_mm=size[0], label_height_mm=size[1])
    label = labels.Label("F-2345-6789", ("Avocet, Slate", "R-1", "by 2026-11-01"))
    assert len(scanned(labels.labels_pdf([label]), tmp_path)) == 1


def test_reports_say_so_on_paper_and_in_data(invented: Shop) -> None:
    report = recovered.of_month("2026-10")
    assert "PRACTICE" in words(files.FORMATS["pdf"].make(report))
    assert b'"practice": "everything here is invented"' in files.FORMATS["json"].make(report)
    import openpyxl

    book = openpyxl.load_workbook(io.BytesIO(files.FORMATS["xlsx"].make(report)))
    assert all("PRACTICE" in str(page.oddHeader.center.text) for page in book.worksheets)
    Workshop.objects.update(demo=False)
    assert "PRACTICE" not in words(files.FORMATS["pdf"].make(report))
    assert b"practice" not in files.FORMATS["json"].make(report)


def test_practice_data_is_never_served(client: Client, invented: Shop, settings: Any) -> None:
    settings.SERVED = True
    for path in ("/", "/enter/", "/api/models/"):
        answer = client.get(path)
        assert answer.status_code == 503
        assert "Practice data is not served" in answer.content.decode()
    assert client.get("/alive/").status_code == 200


def test_a_real_workshop_is_served(client: Client, shop: Shop, settings: Any) -> None:
    settings.SERVED = True
    assert client.get("/").status_code == 200


def _an_owner() -> None:
    User.objects.create_user("olga")


def _an_address() -> None:
    Workshop.the()
    Workshop.objects.update(address="4 Sluice Lane")


def _a_polymer() -> None:
    Polymer.objects.create(code="PP", name="Polypropylene")


@pytest.mark.parametrize("enter", [_an_owner, _an_address, _a_polymer])
@pytest.mark.parametrize("flags", [[], ["--once"]])
def test_the_demo_never_mixes_with_what_a_person_entered(enter: Any, flags: list[str]) -> None:
    enter()
    with pytest.raises(CommandError, match="never mixes"):
        call_command("loaddemo", *flags)
    assert not FrameModel.objects.exists()


def test_the_demo_is_not_loaded_where_real_customers_come(settings: Any) -> None:
    settings.SERVED = True
    with pytest.raises(CommandError, match="HINGEBACK_SERVED"):
        call_command("loaddemo")


def test_the_demo_is_loaded_once(invented: Shop) -> None:
    call_command("loaddemo", "--once")
    with pytest.raises(CommandError, match="already"):
        call_command("loaddemo")


def up(folder: Path, *flags: str) -> tuple[int, str]:
    done = subprocess.run(
        ["bash", str(UP), *flags],
        env={"HINGEBACK_DATA_DIR": str(folder), "PATH": "/usr/bin:/bin"},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    return done.returncode, done.stdout + done.stderr


@pytest.mark.parametrize(
    ("file", "flags", "data"),
    [
        ("own_workshop", [], "start it with --empty"),
        ("own_workshop", ["--fresh"], "start it with --empty"),
        ("demo_logins.txt", ["--empty"], "holds the demo"),
        ("hingeback.sqlite3", ["--fresh"], "nothing was deleted"),
        ("own_workshop", ["--empty", "--fresh"], "never forgotten"),
    ],
)
def test_the_start_script_keeps_folders_apart(
    tmp_path: Path, file: str, flags: list[str], data: str
) -> None:
    (tmp_path / file).write_text("kept")
    (tmp_path / "media").mkdir()
    code, out = up(tmp_path, *flags)
    assert code != 0
    assert data in out
    assert (tmp_path / file).read_text() == "kept"
    assert (tmp_path / "media").is_dir()
