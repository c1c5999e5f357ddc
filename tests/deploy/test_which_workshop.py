"""Each command that the documents print, typed as printed in a fresh workshop of one's own."""

from __future__ import annotations

import os
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
DOCUMENTS = [ROOT / "README.md", ROOT / "DEVELOPERS.md", ROOT / "deploy" / "README.md"]
ADD_OWNER = """
from django.contrib.auth.models import User
User.objects.create_user("olga", password="heron over the mudflat")
"""


def typed(
    house: Path, *words: str, answers: str = "", **env: str
) -> subprocess.CompletedProcess[str]:
    """What a person sees who types `python manage.py WORDS` in that clone, with nothing set."""
    here = {name: text for name, text in os.environ.items() if not name.startswith("HINGEBACK_")}
    return subprocess.run(
        [sys.executable, "manage.py", *words],
        cwd=house,
        env=here | {"DJANGO_SETTINGS_MODULE": "deploy.settings"} | env,
        input=answers,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )


def clone(at: Path) -> Path:
    """The program alone, without anybody's data."""
    at.mkdir()
    shutil.copy(ROOT / "manage.py", at)
    for part in ("deploy", "inventory", "returns"):
        (at / part).symlink_to(ROOT / part)
    return at


@pytest.fixture(scope="module")
def empty(migrated: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A clone with a migrated database in which nobody can sign in."""
    house = clone(tmp_path_factory.mktemp("empty") / "house")
    (house / "var").mkdir()
    shutil.copy(migrated, house / "var")
    return house


@pytest.fixture(scope="module")
def own(empty: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A clone in which `up.sh --empty` has been run, and nothing else."""
    house = clone(tmp_path_factory.mktemp("own") / "house")
    shutil.copytree(empty / "var", house / "own")
    (house / "own" / "own_workshop").write_text("mine")
    data = {"HINGEBACK_DATA_DIR": str(house / "own")}
    assert typed(house, "shell", "-v0", "-c", ADD_OWNER, **data).returncode == 0
    return house


@pytest.fixture(scope="module")
def archive(own: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy of it, to be proved again."""
    made = tmp_path_factory.mktemp("backups") / "monday.tar.gz"
    assert typed(own, "backup", "--to", str(made)).returncode == 0
    return made


@pytest.fixture(scope="module")
def both(own: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo beside it: a copy of the same database, which says that it is invented."""
    house = clone(tmp_path_factory.mktemp("both") / "house")
    shutil.copytree(own / "own", house / "own")
    shutil.copytree(own / "own", house / "var")
    (house / "var" / "own_workshop").unlink()
    demo = "from inventory.models import Workshop; Workshop.the(); Workshop.objects.update(demo=1)"
    done = typed(house, "shell", "-v0", "-c", demo, HINGEBACK_DATA_DIR=str(house / "var"))
    assert done.returncode == 0, done.stderr
    return house


def printed() -> list[list[str]]:
    """Every `manage.py NAME ...` in a shell block or between backticks, and the table's rows."""
    text = "\n".join(path.read_text(encoding="utf-8") for path in DOCUMENTS if path.exists())
    blocks = "\n".join(re.findall(r"```sh\n(.*?)```", text, re.DOTALL))
    lines = re.findall(r"manage\.py (.+)", blocks) + re.findall(r"`[^`]*manage\.py ([^`]+)`", text)
    lines += re.findall(r"^\| `((?:backup|checkledger|monthreport|firstowner)[^`]*)`", text, re.M)
    return [list(words) for words in dict.fromkeys(tuple(shlex.split(line)) for line in lines)]


def acting() -> list[list[str]]:
    """Those that act on a workshop, whatever their arguments; `restore` has tests of its own."""
    ours = {"backup", "checkledger", "monthreport", "firstowner", "changepassword", "guardledger"}
    return [words for words in printed() if words[0] in ours]


def test_the_search_finds_the_commands() -> None:
    assert {"backup", "checkledger", "monthreport", "firstowner", "changepassword"} <= {
        words[0] for words in acting()
    }


@pytest.mark.parametrize("words", acting(), ids=" ".join)
def test_a_command_typed_as_printed_acts_on_the_own_workshop_and_says_so(
    own: Path, tmp_path: Path, words: list[str], request: pytest.FixtureRequest
) -> None:
    given = {"NAME": "olga", "FILE": str(tmp_path / "written")}
    folder = request.getfixturevalue("archive").parent if "--prove" in words else tmp_path
    words = [given.get(word, word.replace("/backups/", f"{folder}/")) for word in words]
    done = typed(own, *words, answers="teal on the salt marsh\n" * 2)
    assert f"{own / 'own' / 'hingeback.sqlite3'}" in done.stderr
    assert "your own" in done.stderr
    if words[0] == "firstowner":
        assert "owner" in done.stdout + done.stderr
    assert done.returncode == 0, done.stderr
    assert not (own / "var").exists()


def test_with_both_there_a_command_asks_which(both: Path) -> None:
    done = typed(both, "checkledger")
    assert done.returncode == 2
    assert "--own" in done.stderr
    assert "--demo" in done.stderr
    assert done.stdout == ""


@pytest.mark.parametrize(
    ("flag", "folder", "kind"), [("--own", "own", "your own"), ("--demo", "var", "the demo")]
)
def test_the_flag_chooses_and_the_answer_says_which(
    both: Path, flag: str, folder: str, kind: str
) -> None:
    done = typed(both, "checkledger", flag)
    assert done.returncode == 0, done.stderr
    assert str(both / folder / "hingeback.sqlite3") in done.stderr
    assert kind in done.stderr


def test_a_folder_that_is_named_needs_no_flag_and_takes_none(both: Path) -> None:
    named = {"HINGEBACK_DATA_DIR": str(both / "own")}
    assert typed(both, "checkledger", **named).returncode == 0
    assert typed(both, "checkledger", "--demo", **named).returncode == 2


@pytest.mark.parametrize("words", [["checkledger"], ["backup"], ["changepassword", "olga"]])
def test_where_there_is_no_workshop_nothing_is_made_and_the_command_fails(
    tmp_path: Path, words: list[str]
) -> None:
    house = clone(tmp_path / "house")
    done = typed(house, *words)
    assert done.returncode == 1
    assert "no workshop" in done.stderr
    assert "Traceback" not in done.stderr
    assert not (house / "var").exists()


@pytest.mark.parametrize("words", [["checkledger"], ["firstowner"], ["changepassword", "olga"]])
def test_a_database_without_tables_is_refused(tmp_path: Path, words: list[str]) -> None:
    house = clone(tmp_path / "house")
    (house / "var").mkdir()
    (house / "var" / "hingeback.sqlite3").touch()
    done = typed(house, *words)
    assert done.returncode == 1
    assert "migrate" in done.stderr
    assert "Traceback" not in done.stderr


def test_a_database_that_does_not_answer_is_said_without_a_trace(tmp_path: Path) -> None:
    away = {"HINGEBACK_DATABASE_URL": "postgresql://nobody@127.0.0.1:1/none"}
    done = typed(clone(tmp_path / "house"), "checkledger", **away)
    assert done.returncode == 1
    assert "127.0.0.1:1" in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize("words", [["checkledger"], ["backup"], ["monthreport", "2026-10"]])
def test_an_empty_workshop_has_nothing_to_check_or_to_save(empty: Path, words: list[str]) -> None:
    done = typed(empty, *words, *(["--output", "x"] if words[0] == "monthreport" else []))
    assert done.returncode == 1
    assert "empty" in done.stderr
