"""Every string that a person reads is marked, and there in every language that is offered.

What is shown but not marked is found as far as reading the source goes: words that stand bare in a
template, and sentences in the Python that words pages, letters, forms and refusals.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path

import polib
import pytest
from django.conf import settings
from django.utils import translation
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
    named = re.compile(r"%\(\w+\)[sd]|\{\w+\}")
    for entry in polib.pofile(str(catalogue(room, language))):
        for text in [entry.msgstr, *entry.msgstr_plural.values()]:
            allowed = [set(named.findall(one)) for one in (entry.msgid, entry.msgid_plural or "")]
            assert not text or set(named.findall(text)) in allowed, entry.msgid


@pytest.mark.parametrize("language", LANGUAGES)
def test_no_string_is_worded_two_ways(language: str) -> None:
    """The rooms share one catalogue at run time: the first would silently win over the other."""
    worded: dict[tuple[str | None, str], set[str]] = {}
    for room in ROOMS:
        for entry in polib.pofile(str(catalogue(room, language))):
            if not entry.obsolete:
                words = entry.msgstr or "/".join(entry.msgstr_plural.values())
                worded.setdefault((entry.msgctxt, entry.msgid), set()).add(words)
    assert {key: words for key, words in worded.items() if len(words) > 1} == {}


@pytest.mark.parametrize(("room", "language"), wanted())
def test_no_library_overrides_our_words(room: str, language: str) -> None:
    """“Go” was shown with the framework's word for it until our catalogues came first."""
    with translation.override(language):
        for entry in polib.pofile(str(catalogue(room, language))):
            if entry.msgid and not (entry.msgctxt or entry.msgid_plural or entry.obsolete):
                assert translation.gettext(entry.msgid) == entry.msgstr


@pytest.mark.parametrize(("room", "language"), wanted())
def test_compiled_catalogue_is_of_its_source(room: str, language: str) -> None:
    """Renew with `python manage.py compilemessages` (needs gettext) after editing a .po file."""
    source = catalogue(room, language)
    compiled = polib.mofile(str(source.with_suffix(".mo")))
    written = {e.msgid: e.msgstr for e in polib.pofile(str(source)) if e.msgstr}
    assert {e.msgid: e.msgstr for e in compiled if e.msgstr} == written


# Words in a template that no language changes: units, and columns of a list to upload.
BARE = {"min", "CO₂e", "batch", "month", "pieces"}
_TAGS = re.compile(
    r"\{%-?\s*(blocktranslate|comment)\b.*?\{%\s*end\1\s*%\}|\{%.*?%\}|\{\{.*?\}\}|\{#.*?#\}", re.S
)
_NO_TEXT = re.compile(r"\{% block (body_class|body_attributes|sizes) %\}.*?\{% endblock %\}", re.S)
_WORD = re.compile(r"[^\W\d_]{3,}")
_READ_ALOUD = {"alt", "title", "placeholder", "aria-label", "aria-description", "data-said"}


class BareWords(HTMLParser):
    """Collects the words of text and of attributes that are read aloud, but of no code."""

    def __init__(self) -> None:
        super().__init__()
        self.words: list[str] = []
        self._code = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._code = tag if tag in {"script", "style"} else ""
        for name, value in attrs:
            if name in _READ_ALOUD:
                self.words += _WORD.findall(value or "")

    def handle_endtag(self, _tag: str) -> None:
        self._code = ""

    def handle_data(self, data: str) -> None:
        if not self._code:
            self.words += _WORD.findall(data)


def bare_words(template: str) -> list[str]:
    """Words of three letters or more that stand in a template outside of translation.

    What fills a block for a class, an attribute or a style of the page is no text.
    """
    parser = BareWords()
    parser.feed(_TAGS.sub(" ", _NO_TEXT.sub(" ", template)))
    parser.close()
    return [word for word in parser.words if word not in BARE]


def test_bare_words_of_a_template_are_found() -> None:
    template = """{% load i18n %}<p class="muted" title="Over here">{% translate "Mend it" %}
    {% blocktranslate with a=b %}Of {{ a }}{% endblocktranslate %} {{ word }} Weigh it again</p>
    <style>p { color: red }</style><img alt="Frame">"""
    assert bare_words(template) == ["Over", "here", "Weigh", "again", "Frame"]


@pytest.mark.parametrize("room", ROOMS)
def test_no_template_shows_unmarked_words(room: str) -> None:
    found = {}
    for path in sorted((ROOT / room).rglob("templates/**/*")):
        if path.suffix in {".html", ".txt"} and not path.name.endswith(".css.html"):
            words = bare_words(path.read_text(encoding="utf-8"))
            found |= {str(path.relative_to(ROOT)): words} if words else {}
    assert found == {}


@pytest.mark.parametrize("room", ROOMS)
def test_only_templates_that_are_collected_mark_words(room: str) -> None:
    """`makemessages` reads .html, .txt and .py: what a style sheet marked was never translated."""
    paths = [path for path in (ROOT / room).rglob("templates/**/*") if path.is_file()]
    others = [path for path in paths if path.suffix not in {".html", ".txt"}]
    marked = [path.name for path in others if "translate" in path.read_text(encoding="utf-8")]
    assert marked == []


# What is not worded for the page: pure sums give keys and parameters, the demo and the rehearsal
# are data, commands and checks speak to whoever runs the service, the API describes its fields in
# English alone, and a source is named as its publisher names it.
SILENT = {"sums", "sums.py", "migrations", "api", "api.py", "method"}
SILENT_FILES = {
    "inventory/checks.py",
    "inventory/triggers.py",
    "inventory/journal/writing.py",
    "inventory/months/reports/evidence.py",
    "inventory/months/reports/verify.py",
    "inventory/months/reports/tabular.py",
}
UNMARKED = {
    "My workshop",  # the name before the owner gives one
    "Own assumption, not measured",  # kept with the figure, and the owner's to reword
}
_SENTENCE = re.compile(r"^[A-Z“][^\n]*[a-z]+ [a-z%]")


def unmarked(code: str) -> Iterator[str]:
    """Strings that read like a sentence or a label and are neither marked nor a docstring."""
    tree = ast.parse(code)
    quiet: set[int] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            quiet.add(id(node.value))
        if isinstance(node, ast.Call):
            name = getattr(node.func, "id", getattr(node.func, "attr", ""))
            if name in MARKS | {"RunPython", "RuntimeError", "AssertionError", "Histogram"}:
                quiet |= {id(below) for below in ast.walk(node)}
    for node in ast.walk(tree):
        if not isinstance(node, ast.Constant) or id(node) in quiet:
            continue
        text = node.value
        if isinstance(text, str) and _SENTENCE.match(text) and text not in UNMARKED:
            yield text


def test_unmarked_sentences_of_code_are_found() -> None:
    code = """def mend(frame):
    "Mend it at the bench."
    label = _("Marked as a sentence")
    return f"Weigh the frame {frame} again"
    """
    assert list(unmarked(code)) == ["Weigh the frame "]


@pytest.mark.parametrize("room", ROOMS)
def test_no_code_words_a_page_unmarked(room: str) -> None:
    found = {}
    for path in sorted((ROOT / room).rglob("*.py")):
        name = str(path.relative_to(ROOT))
        if not (SILENT & set(path.relative_to(ROOT).parts) or name in SILENT_FILES):
            texts = list(unmarked(path.read_text(encoding="utf-8")))
            found |= {name: texts} if texts else {}
    assert found == {}
