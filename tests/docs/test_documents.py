"""The documents say what is there, and what is there is said."""

from __future__ import annotations

import ast
import os
import re
import shlex
import subprocess
from functools import cache
from pathlib import Path
from urllib.parse import unquote

import pytest
from django.conf import settings
from django.core.management import get_commands, load_command_class

from inventory.months.queries import audit
from tests.docs import blocks, published, rooms
from tests.docs.blocks import (
    BENCHMARKS,
    CHECKS,
    DEVELOPERS,
    DOCUMENTS,
    OPERATING,
    README,
    ROOT,
)

# Written so that this file does not hold what it looks for.
FORBIDDEN = re.compile(
    r"(?<![\w.>-])/(?:work|root)(?![\w-])|py[p]i\.org|issu[e] #\d|this sessio[n]\b"
)
NUMBER = re.compile(r"\d[\d,]*\.?\d*")
ROOMS = ("inventory", "returns")


@cache
def read(path: Path) -> str:
    return path.read_text(encoding="utf-8")


def tracked() -> list[Path]:
    """What git keeps; the files of the tree where there is no git."""
    try:
        listed = subprocess.run(
            ["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, check=True, text=True
        ).stdout
    except (FileNotFoundError, subprocess.CalledProcessError):
        pytest.skip("not a clone: git lists no files here")
    return [ROOT / name for name in listed.split("\0") if name and (ROOT / name).is_file()]


def environment_names() -> set[str]:
    """Every HINGEBACK_ variable that a program or script under deploy/ reads, and the fuzz."""
    found: set[str] = set()
    fuzz = ROOT / "tests" / "api" / "fuzzed.py"
    for path in [*(ROOT / "deploy").iterdir(), *(ROOT / "deploy" / "served").iterdir(), fuzz]:
        if path.suffix in {".py", ".sh"}:
            found |= set(re.findall(r"HINGEBACK_[A-Z_]+[A-Z]", read(path)))
    settings = [read(ROOT / "deploy" / name) for name in ("settings.py", "stores.py")]
    for call in (node for text in settings for node in ast.walk(ast.parse(text))):
        if isinstance(call, ast.Call) and isinstance(call.func, ast.Attribute):
            owner = call.func.value
            if isinstance(owner, ast.Name) and owner.id == "env":
                assert isinstance(call.args[0], ast.Constant)
                found.add(f"HINGEBACK_{call.args[0].value}")
    return found


def name_of(path: Path) -> str:
    return str(path.relative_to(ROOT))


def everything() -> str:
    """All documents, one after the other."""
    return "\n".join(read(path) for path in DOCUMENTS)


def own_commands() -> set[str]:
    return {name for name, app in get_commands().items() if app in ROOMS}


def section(text: str, heading: str) -> str:
    """What stands below a heading, up to the next of its rank or above."""
    rank = heading.partition(" ")[0]
    after = text.split(f"\n{heading}\n", 1)[1]
    return re.split(rf"\n#{{1,{len(rank)}}} ", after, maxsplit=1)[0]


def test_first_paragraph_of_the_readme_names_the_job() -> None:
    paragraph = read(README).split("\n\n")[1].replace("\n", " ").lower()
    for word in ("spectacle frames", "polypropylene", "spare", "send", "weigh", "grade", "repair"):
        assert word in paragraph, word
    for word in ("regrind", "material stock", "report", "circularity", "gram"):
        assert word in paragraph, word


def test_settings_really_read_the_names_that_the_search_finds() -> None:
    """The search itself: names known to be read in each of the ways must turn up."""
    assert {"HINGEBACK_SERVED", "HINGEBACK_FILE_RATE"} <= environment_names()
    assert {"HINGEBACK_TEST_REDIS_URL", "HINGEBACK_DATA_DIR"} <= environment_names()


@pytest.mark.parametrize("name", sorted(environment_names()))
def test_every_variable_is_among_the_settings(name: str) -> None:
    assert f"`{name}`" in section(read(OPERATING), "## Settings")


def test_documents_name_no_variable_that_nothing_reads() -> None:
    assert set(re.findall(r"HINGEBACK_[A-Z_]+[A-Z]", everything())) <= environment_names()


def test_served_example_sets_only_variables_that_are_read() -> None:
    example = read(ROOT / "deploy" / "served.env.example")
    assert set(re.findall(r"^(HINGEBACK_[A-Z_]+)=", example, re.MULTILINE)) <= environment_names()


@pytest.mark.parametrize("name", sorted(own_commands()))
def test_every_management_command_is_among_the_commands(name: str) -> None:
    assert re.search(rf"^\| `{name}\b", section(read(OPERATING), "## Commands"), re.MULTILINE)


def anchors(path: Path) -> set[str]:
    """What a link can lead to within a document: its headings, as they are addressed."""
    heads = re.findall(r"^#+ (.+)$", re.sub(r"```.*?```", "", read(path), flags=re.DOTALL), re.M)
    return {re.sub(r"[^\w\- ]", "", head.lower()).replace(" ", "-") for head in heads}


def dead_links(path: Path) -> list[str]:
    dead = []
    for link in re.findall(r"\]\(([^)\s]+)\)", read(path)):
        target, _, anchor = link.partition("#")
        goal = path.parent / unquote(target) if target else path
        if "://" not in link and not (goal.exists() and (not anchor or anchor in anchors(goal))):
            dead.append(link)
    return dead


@pytest.mark.parametrize("path", DOCUMENTS, ids=name_of)
def test_every_link_and_picture_leads_somewhere(path: Path) -> None:
    assert dead_links(path) == []


def test_a_dead_link_would_be_found(tmp_path: Path) -> None:
    page = tmp_path / "page.md"
    page.write_text("# One two\n[a](#one-two) [b](#three) [c](page.md#one-two) [d](gone.md)")
    assert dead_links(page) == ["#three", "gone.md"]


@pytest.mark.parametrize("path", [path for path in DOCUMENTS if path != README], ids=name_of)
def test_every_document_can_be_found_from_the_readme(path: Path) -> None:
    """In one step, or in two by way of another document."""
    near = {README, *(goal for goal in DOCUMENTS if f"]({name_of(goal)}" in read(README))}
    steps = {os.path.relpath(path, start.parent) for start in near}
    assert path in near or any(f"]({step}" in read(start) for start in near for step in steps)


def test_the_readme_can_be_read_in_one_go() -> None:
    assert len(read(README).splitlines()) <= 150
    assert "bash deploy/test.sh" in section(read(README), "## First run")


def test_four_people_have_their_picture() -> None:
    shown = set(re.findall(r"!\[[^\]]+\]\(fixtures/pictures/(\w+)\.png\)", read(README)))
    assert shown == {"customer", "bench", "accountant", "owner"}


def management_lines() -> list[list[str]]:
    """Every `manage.py NAME ...` of the shell blocks in the documents, split as a shell would."""
    shell = "\n".join(re.findall(r"```sh\n(.*?)```", everything(), re.DOTALL))
    lines = re.findall(r"manage\.py (.+)", shell)
    return [shlex.split(line) for line in lines]


@pytest.mark.parametrize("words", management_lines(), ids=" ".join)
def test_commands_that_are_shown_take_what_they_are_given(words: list[str]) -> None:
    name, *arguments = words
    command = load_command_class(get_commands()[name], name)
    command.create_parser("manage.py", name).parse_args(arguments)


@pytest.mark.parametrize("script", ["up.sh", "test.sh"])
def test_flags_of_the_scripts_are_those_that_are_told(script: str) -> None:
    taken = set(re.findall(r"^ +(--[a-z]+)\)", read(ROOT / "deploy" / script), re.MULTILINE))
    assert taken
    table = section(read(OPERATING), "## On one machine")
    assert {flag for flag in taken if f"`{flag}" not in table} == set()


def test_scripts_that_the_documents_run_exist() -> None:
    data = everything()
    for path in set(re.findall(r"bash (deploy/\S+\.sh)", data)):
        assert (ROOT / path).is_file(), path
    for module in set(re.findall(r"python -m (tests[\w.]+)", data)):
        path = ROOT / module.replace(".", "/")
        assert path.with_suffix(".py").is_file() or (path / "__main__.py").is_file(), module


@pytest.mark.parametrize("path", re.findall(r"`((?:\w+/)+\w+\.\w+)`", read(DEVELOPERS)))
def test_files_that_developers_are_sent_to_exist(path: str) -> None:
    places = (ROOT, ROOT / "inventory", ROOT / "returns", ROOT / "inventory" / "templates")
    assert any((place / path).exists() for place in places)


def test_functions_of_the_trips_are_in_the_files_that_are_named() -> None:
    data = re.findall(r"`(\w+)\(\)`\s+in\s+`([\w/]+\.py)`", read(DEVELOPERS))
    assert len(data) > 20
    gone = [(name, path) for name, path in data if f"def {name}(" not in read(ROOT / path)]
    assert gone == []


@pytest.mark.parametrize("room", ROOMS)
def test_the_map_is_that_of_the_code(room: str) -> None:
    assert rooms.table(ROOT / room) == blocks.block(read(DEVELOPERS), room)


@pytest.mark.parametrize("room", ROOMS)
def test_every_folder_of_a_room_is_a_story_or_told_as_ground(room: str) -> None:
    """A folder that is neither would be a corner where nobody looks."""
    data = {folder.relative_to(ROOT / room).parts[0] for folder in rooms.stories(ROOT / room)}
    held = {path.name for path in (ROOT / room).iterdir() if path.is_dir()} - {"__pycache__"}
    assert held - data <= rooms.GROUND
    assert all(rooms.told(ROOT / room / name / "__init__.py") for name in data)


def test_state_tables_are_those_of_the_code() -> None:
    assert blocks.state_tables() == blocks.block(read(DEVELOPERS), "states")


def test_movement_kinds_are_those_of_the_code() -> None:
    assert blocks.block(read(DEVELOPERS), "kinds") == blocks.kinds_table()


def test_published_checks_come_out_as_their_table_says() -> None:
    """Words must be the same; figures may differ in the sixth digit from machine to machine."""
    data = blocks.block(read(CHECKS), "published").splitlines()
    fresh = published.table().splitlines()
    assert [NUMBER.sub("#", line) for line in data] == [NUMBER.sub("#", line) for line in fresh]
    for written, now in zip(data, fresh, strict=True):
        figures = [[float(n.replace(",", "")) for n in NUMBER.findall(x)] for x in (written, now)]
        assert figures[0] == pytest.approx(figures[1], rel=2e-5), written


def test_published_table_has_a_row_of_every_file_of_checks() -> None:
    """A source's sums are tabled when its module is imported by the table."""
    parts = (ROOT / "tests" / "docs").glob("published_*.py")
    tabled = "".join(read(path) for path in sorted(parts))
    for path in sorted((ROOT / "tests" / "reference").glob("test_*_published.py")):
        subject = path.stem.removeprefix("test_").removesuffix("_published")
        word = {"blending": "mixing.cheapest", "forecasts": "run_off.run_off"}.get(
            subject, f"{subject}."
        )
        assert word in tabled, subject


def test_every_check_of_the_ledger_holds_in_the_words_of_its_table() -> None:
    """checkledger is what a restored copy is trusted to."""
    data = section(read(OPERATING), "## Backups, and proving them")
    assert "checkledger" in data
    assert {"closed-months-unchanged", "balances-derived", "guards-in-place"} <= set(audit.CHECKS)


def test_languages_that_are_offered_are_named() -> None:
    for code, _name in settings.LANGUAGES:
        assert f"`{code}`" in section(read(OPERATING), "## Settings")


def test_benchmarks_state_machine_and_ratios() -> None:
    figures = blocks.block(read(BENCHMARKS), "benchmarks")
    assert "cores" in figures
    assert "times" in figures


def test_no_tracked_text_speaks_of_where_it_was_made() -> None:
    found = []
    for path in tracked():
        raw = path.read_bytes()
        if b"\0" in raw:
            continue
        text = raw.decode("utf-8", "replace").lower()
        found += [f"{path.relative_to(ROOT)}: {m[0]}" for m in FORBIDDEN.finditer(text)]
    assert found == []


@pytest.mark.parametrize("word", ["/wor" + "k/main", "/roo" + "t/x", "see iss" + "ue #4"])
def test_search_for_such_words_finds_them(word: str) -> None:
    assert FORBIDDEN.search(word)


@pytest.mark.parametrize("word", ["returns/workroom", "/bench/work-room", "a/root", "sessions"])
def test_search_for_such_words_leaves_others_alone(word: str) -> None:
    assert not FORBIDDEN.search(word)


@pytest.mark.parametrize("path", DOCUMENTS, ids=name_of)
def test_documents_speak_of_the_project_alone(path: Path) -> None:
    assert not re.search(r"\bsessio[n]|\bagent\b|\bhelper\b|\bchatbot\b", read(path).lower())


def test_licence_is_the_one_that_the_package_names() -> None:
    licence = read(ROOT / "LICENSE")
    assert licence.startswith("MIT License")
    assert "Hingeback contributors" in licence
    assert 'license = "MIT"' in read(ROOT / "pyproject.toml")
