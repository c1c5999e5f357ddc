"""`manage.py monthreport`: the files it writes and how it refuses."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from inventory.months.queries import recovered
from tests.inventory import month_makers as made
from tests.makers import Shop

pytestmark = [pytest.mark.django_db, pytest.mark.edge]


def run(*arguments: str) -> None:
    call_command("monthreport", *arguments, skip_checks=True)


@pytest.mark.parametrize(
    ("name", "magic"),
    [
        ("pdf", b"%PDF-"),
        ("csv", b"section,"),
        ("postings", b"movement,"),
        ("xlsx", b"PK"),
        ("json", b"{"),
    ],
)
def test_each_format_is_written(shop: Shop, tmp_path: Path, name: str, magic: bytes) -> None:
    made.furnished_october(shop)
    output = tmp_path / "report"
    run("2026-10", "--format", name, "--output", str(output))
    assert output.read_bytes().startswith(magic)


def test_csv_comes_with_its_description_beside_it(
    shop: Shop, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    made.furnished_october(shop)
    run("2026-10", "--format", "csv", "--output", str(tmp_path / "october.csv"))
    described = json.loads((tmp_path / "october.csv-metadata.json").read_text())
    assert described["url"] == "october.csv"
    assert recovered.digest(recovered.of_month("2026-10")) in capsys.readouterr().out


@pytest.mark.parametrize("label", ["2026-13", "october", "-1"])
def test_text_that_is_no_month_is_refused(db: None, tmp_path: Path, label: str) -> None:
    with pytest.raises(CommandError):
        run(label, "--output", str(tmp_path / "x.pdf"))
    assert list(tmp_path.iterdir()) == []


def test_place_that_cannot_be_written_is_named(db: None, tmp_path: Path) -> None:
    missing = tmp_path / "no-such-folder" / "x.csv"
    with pytest.raises(CommandError, match="no-such-folder"):
        run("2026-10", "--format", "csv", "--output", str(missing))
