"""The evidence pack convinces a program that knows nothing of us, and shows what was changed in it.

The verifier runs as whoever gets the pack runs it: by itself, without our packages.
"""

from __future__ import annotations

import hashlib
import io
import subprocess
import sys
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
from django.contrib.auth.models import User
from django.test import Client

from inventory.errors import NotFound
from inventory.ledger.rules import ledger
from inventory.months import rules as months
from inventory.months.reports import evidence
from inventory.months.sums.calendar_month import Month
from tests.inventory import month_makers as made
from tests.inventory.month_makers import DEC_2, NOV, weighed_in
from tests.makers import Shop, key

pytestmark = pytest.mark.django_db
FOLDER = "evidence-2026-08-2026-11"


@pytest.fixture
def packed(shop: Shop) -> bytes:
    """Three closed months and an open one, with a reversal."""
    made.furnished_october(shop)
    for label in ("2026-08", "2026-09", "2026-10"):
        months.close(key=key(), label=label, at=DEC_2, by=None)
    twice = weighed_in("F-TWICE", 7_000, at_=NOV)
    ledger.reverse(key=key(), movement=twice, reason="=typed twice", at=NOV)
    return pack(Month(2026, 8), Month(2026, 11))


def pack(first: Month, last: Month) -> bytes:
    file = io.BytesIO()
    evidence.pack(first, last, at=DEC_2, to=file)
    return file.getvalue()


def unpacked(data: bytes, folder: Path) -> Path:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        archive.extractall(folder)
    return folder / FOLDER


def verified(folder: Path, at: Path) -> tuple[int, str]:
    """The exit code and the words of the pack's own verifier, without any package of ours."""
    done = subprocess.run(
        [sys.executable, "-I", str(folder / "verify.py"), str(at)],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    return done.returncode, done.stdout + done.stderr


def sealed(folder: Path) -> None:
    """Write the manifests anew, as somebody would who changes a file in the pack."""
    for manifest, names in (
        ("manifest-sha256.txt", sorted((folder / "data").rglob("*"))),
        ("tagmanifest-sha256.txt", sorted(folder.glob("*.txt"))),
    ):
        files = [name for name in names if name.is_file() and name.name != "tagmanifest-sha256.txt"]
        (folder / manifest).write_text(
            "".join(
                f"{hashlib.sha256(file.read_bytes()).hexdigest()}  "
                f"{file.relative_to(folder).as_posix()}\n"
                for file in files
            )
        )


def test_a_sound_pack_passes_as_archive_and_as_folder(packed: bytes, tmp_path: Path) -> None:
    folder = unpacked(packed, tmp_path)
    archive = tmp_path / "pack.zip"
    archive.write_bytes(packed)
    for at in (folder, archive):
        code, words = verified(folder, at)
        assert (code, words.count("ok  "), words.count("FAIL")) == (0, 6, 0), words
        assert "head of the pack: link " in words


def test_the_same_books_make_the_same_pack(packed: bytes) -> None:
    assert pack(Month(2026, 8), Month(2026, 11)) == packed


def test_nobody_is_named_in_it(shop: Shop, bea: User) -> None:
    weighed_in("F-TAG", 7_000, at_=NOV)
    with zipfile.ZipFile(io.BytesIO(pack(Month(2026, 11), Month(2026, 11)))) as archive:
        told = b"".join(archive.read(name) for name in archive.namelist())
    assert bea.username.encode() not in told


def test_what_a_spreadsheet_would_run_is_quoted(packed: bytes, tmp_path: Path) -> None:
    lines = (unpacked(packed, tmp_path) / "data/lines.csv").read_text()
    assert ",'=typed twice," in lines


CHANGES: dict[str, tuple[str, Callable[[str], str], str]] = {
    "a mass": ("data/lines.csv", lambda text: text.replace(",24310,", ",24311,", 1), "quantity"),
    "a link": ("data/chain.jsonl", lambda text: text.replace("24310", "24311"), "is not what its"),
    "a link less": (
        "data/chain.jsonl",
        lambda text: "".join([*text.splitlines(True)[:2], *text.splitlines(True)[3:]]),
        "some are missing",
    ),
    "a balance": (
        "data/balances.csv",
        lambda text: text.replace("bin-screw-m14,0,", "bin-screw-m14,5,", 1),
        "are not",
    ),
    "a report": (
        "data/reports/2026-10.json",
        lambda text: text.replace('"opening":0', '"opening":7', 1),
        "not the one that was closed",
    ),
    "a column's rule": (
        "data/rules.json",
        lambda text: text.replace('"credited"', '"feedstock"'),
        "the lines",
    ),
    "a month's digest": (
        "data/months.json",
        lambda text: text.replace('"currency": "EUR"', '"currency": "USD"', 1),
        "its digest is not that of its lines",
    ),
}


@pytest.mark.parametrize("name", CHANGES)
def test_what_was_changed_in_it_is_named(packed: bytes, tmp_path: Path, name: str) -> None:
    file, change, said = CHANGES[name]
    folder = unpacked(packed, tmp_path)
    text = (folder / file).read_text()
    changed = change(text)
    assert changed != text, "this changes nothing"
    (folder / file).write_text(changed)
    code, words = verified(folder, folder)
    assert code == 1
    assert f"{file} is not the file that was packed" in words
    sealed(folder)
    code, words = verified(folder, folder)
    assert code == 1
    assert said in words


def test_a_file_that_was_added_or_taken_is_named(packed: bytes, tmp_path: Path) -> None:
    folder = unpacked(packed, tmp_path)
    (folder / "data/more.csv").write_text("x\n")
    (folder / "data/scales.csv").unlink()
    words = verified(folder, folder)[1]
    assert "data/more.csv was added" in words
    assert "data/scales.csv is missing" in words


def test_months_without_a_movement_have_no_evidence(shop: Shop) -> None:
    with pytest.raises(NotFound):
        pack(Month(2031, 1), Month(2031, 2))


def test_the_accountant_fetches_it_with_the_months_files(
    packed: bytes, acke: User, client: Client
) -> None:
    client.force_login(acke)
    page = client.get("/months/2026-10/report/").content.decode()
    (name,) = {word for word in page.split('"') if word.endswith("-evidence.zip")}
    answer = client.get(name)
    assert answer.status_code == 200
    with zipfile.ZipFile(io.BytesIO(answer.content)) as archive:
        assert "evidence-2026-10-2026-10/verify.py" in archive.namelist()
