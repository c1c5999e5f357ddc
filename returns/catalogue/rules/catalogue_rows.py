"""One row of a list of models, read column by column: all that is wrong with it, at once."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from django.utils.translation import gettext as _

from inventory.models import Colour, Part, Polymer
from returns.catalogue.rules import csvlists
from returns.models.catalogue import ComponentKey, ComponentKind, RimShape

NUMBER_MAX: Final = 2_000_000_000
EXAMPLE_MODEL: Final = "example"
Look = tuple[Colour, str]
"""The main colour of a look, and the code of its variant; "" for a plain one."""
SHOWN_LENGTH: Final = 40
_CODE = re.compile(r"[a-z0-9_-]{1,30}", re.IGNORECASE)
# ASCII digits and a bounded length: `\d` takes digits of every script, and `int` grows with any
# text.
_VARIANT = re.compile(r"[a-z0-9_-]{0,30}")
_WHOLE = re.compile(r"[0-9]{1,10}")
_DECIMAL = re.compile(r"[0-9]+[.,][0-9]+")
_WORDS = {"yes": True, "1": True, "no": False, "0": False, "": False}


@dataclass(frozen=True, slots=True)
class KnownMasters:
    """What a list may name: parts, colours and polymers by their codes."""

    parts: Mapping[str, Part]
    colours: Mapping[str, Colour]
    polymers: Mapping[str, Polymer]


def known() -> KnownMasters:
    """Return what the workshop has entered so far."""
    return KnownMasters(
        # Once for the whole list: a look-up for each row would be thousands of questions.
        parts={row.code: row for row in Part.objects.all()},
        colours={row.code: row for row in Colour.objects.all()},
        polymers={row.code: row for row in Polymer.objects.all()},
    )


@dataclass(frozen=True, slots=True)
class Rejected:
    """One thing that is wrong: where it stands, what stands there, and what to do about it."""

    line: int
    model: str
    component: str
    why: str
    column: str = ""
    given: str = ""


@dataclass(frozen=True, slots=True)
class Piece:
    """One good row. `facts` are columns of the model, `line_facts` of the component."""

    line: int
    model: str
    facts: tuple[tuple[str, Any], ...]
    key: str
    line_facts: tuple[tuple[str, Any], ...]
    is_frame_material: bool
    looks: tuple[Look, ...] = ()
    polymer: Polymer | None = None
    differs: tuple[tuple[Look, Colour], ...] = ()

    def says(self) -> tuple[Any, ...]:
        """Return what all rows of a model must have alike."""
        return (self.facts, self.looks, self.polymer)


@dataclass(slots=True)
class Reading:
    """A row while it is read."""

    line: csvlists.Line
    slips: list[Rejected] = field(default_factory=list)

    def cell(self, column: str) -> str:
        return self.line.cells[column]

    def wrong(self, column: str, why: str) -> None:
        cells = self.line.cells
        model, component = cells["model"][:SHOWN_LENGTH], cells["component"][:SHOWN_LENGTH]
        given = cells.get(column, "")[:SHOWN_LENGTH]
        self.slips.append(Rejected(self.line.number, model, component, why, column, given))

    def number(self, column: str, *, least: int = 0) -> int:
        """Read a whole number; a slip is noted and gives 0."""
        text = self.cell(column)
        if _WHOLE.fullmatch(text) and least <= int(text) <= NUMBER_MAX:
            return int(text)
        why = _("%(column)s must be a whole number from %(least)s on.")
        # The commonest slip is grams where milligrams are asked for, so it gets a sentence of its
        # own.
        if _DECIMAL.fullmatch(text):
            why = _(
                "%(column)s must be a whole number from %(least)s on, without point or comma: "
                "milligrams, micrometres or cents."
            )
        self.wrong(column, why % {"column": column, "least": least})
        return 0

    def word(self, column: str) -> bool:
        word = self.cell(column).lower()
        if word not in _WORDS:
            self.wrong(column, _("%(column)s must be yes or no.") % {"column": column})
        return _WORDS.get(word, False)

    def one_of(self, column: str, allowed: Sequence[str]) -> str:
        word = self.cell(column).lower()
        if word not in allowed:
            facts = {"column": column, "allowed": ", ".join(allowed)}
            self.wrong(column, _("%(column)s must be one of: %(allowed)s.") % facts)
        return word


def piece(line: csvlists.Line, data: KnownMasters) -> tuple[Piece, list[Rejected]]:
    """Return the row as a piece, and all that is wrong with it; with slips it will not do."""
    row = Reading(line)
    model = _model(row)
    facts = _facts(row)
    looks, polymer = _looks(row, data), _polymer(row, data)
    line_facts = _component(row, data)
    found = Piece(
        line=line.number,
        model=model,
        facts=tuple(facts.items()),
        key=row.one_of("component", ComponentKey.values),
        line_facts=tuple(line_facts.items()),
        is_frame_material=line_facts["is_frame_material"],
        looks=looks,
        polymer=polymer,
        differs=_differs(row, data, looks, is_plastic=line_facts["is_frame_material"]),
    )
    return found, row.slips


def _model(row: Reading) -> str:
    code = row.cell("model").lower()
    if not _CODE.fullmatch(code):
        why = _("A model's code has up to 30 letters, digits, hyphens and underscores.")
        row.wrong("model", why)
    if code == EXAMPLE_MODEL:
        row.wrong("model", _("This is the template's example. Put your own models in its place."))
    return code


def _facts(row: Reading) -> dict[str, Any]:
    if not 1 <= len(row.cell("name")) <= 60:
        row.wrong("name", _("A model's name has 1 to 60 characters."))
    facts: dict[str, Any] = {
        "name": row.cell("name"),
        "new_frame_cost_minor": row.number("new_frame_cost_minor"),
    }
    if row.cell("expected_life_months"):
        facts["expected_life_months"] = row.number("expected_life_months", least=1)
    if row.cell("rim"):
        facts["rim"] = row.one_of("rim", RimShape.values)
    return facts


def _looks(row: Reading, data: KnownMasters) -> tuple[Look, ...]:
    found: dict[str, Look] = {}
    for text in row.cell("colours").lower().split():
        code, _slash, variant = text.partition("/")
        if code in data.colours and _VARIANT.fullmatch(variant):
            found[text] = (data.colours[code], variant)
            continue
        facts = {"code": code[:SHOWN_LENGTH], "known": _listed(data.colours)}
        why = _("There is no colour “%(code)s”. Known: %(known)s. Enter it at the set-up first.")
        row.wrong("colours", why % facts)
    return tuple(found.values())


def _differs(
    row: Reading, data: KnownMasters, looks: tuple[Look, ...], *, is_plastic: bool
) -> tuple[tuple[Look, Colour], ...]:
    """Read of which other colour this component is in a look, such as tideline/moss-arms=moss."""
    known = {f"{colour.code}/{variant}": (colour, variant) for colour, variant in looks}
    found = []
    for text in row.cell("differs").lower().split():
        look, _equals, code = text.partition("=")
        if is_plastic and look in known and code in data.colours:
            found.append((known[look], data.colours[code]))
            continue
        why = _(
            "“%(text)s” names no look of this model and its colour. For frame material write it "
            "so: tideline/moss-arms=moss, with tideline/moss-arms among the colours."
        )
        row.wrong("differs", why % {"text": text[:SHOWN_LENGTH]})
    return tuple(found)


def _polymer(row: Reading, data: KnownMasters) -> Polymer | None:
    code = row.cell("polymer")
    if not code and not row.cell("colours"):
        return None
    # A workshop with one polymer need not name it in every row.
    if not code and len(data.polymers) == 1:
        return next(iter(data.polymers.values()))
    if code not in data.polymers:
        facts = {"code": code[:SHOWN_LENGTH], "known": _listed(data.polymers)}
        why = _("There is no polymer “%(code)s”. Known: %(known)s. Enter it at the set-up first.")
        row.wrong("polymer", why % facts)
    return data.polymers.get(code)


def _component(row: Reading, data: KnownMasters) -> dict[str, Any]:
    nominal_mg, spread_mg = row.number("nominal_mg", least=1), row.number("spread_mg")
    if nominal_mg and spread_mg >= nominal_mg:
        row.wrong("spread_mg", _("The spread is smaller than the mass itself."))
    part = row.cell("part")
    if part and part not in data.parts:
        why = _("There is no part “%(code)s”. Enter it at the set-up first, or leave this empty.")
        row.wrong("part", why % {"code": part[:SHOWN_LENGTH]})
    in_kit = row.word("in_kit")
    if in_kit and not part:
        row.wrong("part", _("What comes in the spare kit needs its spare part."))
    return {
        "kind": row.one_of("kind", ComponentKind.values),
        "nominal_mg": nominal_mg,
        "spread_mg": spread_mg,
        "is_frame_material": row.word("frame_material"),
        "part": data.parts.get(part),
        "in_kit": in_kit,
        "wall_um": row.number("wall_um", least=1) if row.cell("wall_um") else None,
    }


def _listed(codes: Mapping[str, object]) -> str:
    return ", ".join(sorted(codes)[:20]) or "–"
