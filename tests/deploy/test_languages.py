"""Every string that a person reads is there in every language that is offered."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import polib
import pytest
from django.conf import settings
from django.utils.translation.template import templatize

ROOT = Path(settings.BASE_DIR)
ROOMS = ("inventory", "returns")
LANGUAGES = [code for code, _name in settings.LANGUAGES if code != "en"]
MARKS = {
    "_", "_t", "_lazy", "gettext", "gettext_lazy", "gettext_noop",
    "ngettext", "ngettext_lazy", "pgettext", "pgettext_lazy",
}  # fmt: skip
_CALL = re.compile(r"\b(?P<mark>n?p?gettext|_)\(u?(?P<text>'(?:[^'\\]|\\.)*'|\"(?:[^\"\\]|\\.)*\")")


def in_python(path: Path) -> Iterator[str]:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Call) and node.args:
            name = getattr(node.func, "id", getattr(node.func, "attr", ""))
            first = node.args[1 if name.startswith("pgettext") else 0]
            if name in MARKS and isinstance(first, ast.Constant) and isinstance(first.value, str):
                yield first.value


def in_template(path: Path) -> Iterator[str]:
    code = templatize(path.read_text(encoding="utf-8"))
    for call in _CALL.finditer(code):
        yield ast.literal_eval(call["text"])


def spoken(room: str) -> set[str]:
    """Every marked string of a room, from its code and its templates."""
    found: set[str] = set()
    for path in (ROOT / room).rglob("*.py"):
        found |= set(in_python(path))
    for path in (ROOT / room).rglob("templates/**/*"):
        if path.suffix in {".html", ".txt"}:
            found |= set(in_template(path))
    return {text for text in found if text}


def catalogue(room: str, language: str) -> Path:
    return ROOT / room / "locale" / language / "LC_MESSAGES" / "django.po"


def wanted() -> list[tuple[str, str]]:
    return [(room, language) for room in ROOMS for language in LANGUAGES]


def test_marked_strings_are_found_at_all() -> None:
    assert len(spoken("inventory")) > 300
    assert len(spoken("returns")) > 800


@pytest.mark.parametrize(("room", "language"), wanted())
def test_no_string_is_untranslated(room: str, language: str) -> None:
    known = {
        entry.msgid
        for entry in polib.pofile(str(catalogue(room, language)))
        if entry.translated() and not entry.obsolete
    }
    other = "returns" if room == "inventory" else "inventory"
    lent = {entry.msgid for entry in polib.pofile(str(catalogue(other, language)))}
    assert sorted(spoken(room) - known - lent) == []


@pytest.mark.parametrize(("room", "language"), wanted())
def test_placeholders_survive_translation(room: str, language: str) -> None:
    named = re.compile(r"%\((\w+)\)[sd]")
    for entry in polib.pofile(str(catalogue(room, language))):
        for text in [entry.msgstr, *entry.msgstr_plural.values()]:
            if text and not entry.msgid_plural:
                assert set(named.findall(text)) == set(named.findall(entry.msgid)), entry.msgid


@pytest.mark.parametrize(("room", "language"), wanted())
def test_compiled_catalogue_is_of_its_source(room: str, language: str) -> None:
    """Renew with `python manage.py compilemessages` (needs gettext) after editing a .po file."""
    source = catalogue(room, language)
    compiled = polib.mofile(str(source.with_suffix(".mo")))
    written = {e.msgid: e.msgstr for e in polib.pofile(str(source)) if e.msgstr}
    assert {e.msgid: e.msgstr for e in compiled if e.msgstr} == written
