"""Models and their bills of materials from a list: tried first, then brought in whole.

One row is one component. What a row says of its model is the same in all rows of that model. A
model that is known already gets the list's bill in place of its own, and only when confirmed.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any, Final
from uuid import UUID

from django.db import transaction
from django.utils.translation import gettext as _

from inventory import deeds
from inventory.errors import BadInput
from inventory.models import Part
from returns import csvlists
from returns.models import Component, FrameModel
from returns.models.catalogue import ComponentKey, ComponentKind

if TYPE_CHECKING:
    from django.contrib.auth.models import User

COLUMNS: Final = (
    "model",
    "name",
    "new_frame_cost_minor",
    "component",
    "kind",
    "nominal_mg",
    "spread_mg",
    "frame_material",
)
OPTIONAL: Final = ("expected_life_months", "part", "in_kit", "wall_um")
NUMBER_MAX: Final = 2_000_000_000
_CODE = re.compile(r"[a-z0-9_-]{1,30}", re.IGNORECASE)
_WHOLE = re.compile(r"[0-9]{1,10}")
_WORDS = {"yes": True, "1": True, "no": False, "0": False, "": False}


@dataclass(frozen=True, slots=True)
class Piece:
    """One good row. `facts` are columns of the model, `line_facts` of the component."""

    line: int
    model: str
    facts: tuple[tuple[str, Any], ...]
    key: str
    line_facts: tuple[tuple[str, Any], ...]
    is_frame_material: bool


@dataclass(frozen=True, slots=True)
class Rejected:
    line: int
    model: str
    component: str
    why: str


@dataclass(frozen=True, slots=True)
class Verdict:
    """What the list would do: model codes that are new, that are known, and bad rows."""

    pieces: tuple[Piece, ...]
    rejected: tuple[Rejected, ...]
    new: tuple[str, ...]
    replacing: tuple[str, ...]


def read(content: bytes) -> tuple[csvlists.Line, ...]:
    """Rows of the list; BadInput (field "file") for what is no such list."""
    return csvlists.read(content, columns=COLUMNS, optional=OPTIONAL)


def check(lines: Sequence[csvlists.Line]) -> Verdict:
    """Say of each row whether it will do and, if not, why. Writes nothing."""
    parts = {part.code: part for part in Part.objects.all()}
    pieces: list[Piece] = []
    rejected: list[Rejected] = []
    for line in lines:
        try:
            piece = _piece(line, parts)
            _refuse_clash(piece, pieces)
        except _No as no:
            cells = line.cells
            rejected.append(
                Rejected(line.number, cells["model"][:40], cells["component"][:40], str(no))
            )
        else:
            pieces.append(piece)
    rejected += _without_frame_material(pieces, {one.model for one in rejected})
    codes = sorted({piece.model for piece in pieces})
    known = set(FrameModel.objects.filter(code__in=codes).values_list("code", flat=True))
    return Verdict(
        pieces=tuple(pieces),
        rejected=tuple(sorted(rejected, key=lambda one: one.line)),
        new=tuple(code for code in codes if code not in known),
        replacing=tuple(code for code in codes if code in known),
    )


@transaction.atomic
def bring_in(
    *, key: UUID, lines: Sequence[csvlists.Line], replace: str = "", at: datetime, by: User
) -> Verdict:
    """Write the whole list or nothing. Known models need `replace="confirmed"`.

    Raises BadInput naming what stands in the way. A repeat under the same key writes nothing.
    """
    facts = [sorted(line.cells.items()) for line in lines]
    if deeds.repeated(key=key, name="catalogue.bring_in", facts=facts):
        return check(lines)
    verdict = check(lines)
    _refuse(verdict, replace)
    for code in (*verdict.new, *verdict.replacing):
        _write([piece for piece in verdict.pieces if piece.model == code])
    deeds.record(
        key=key,
        name="catalogue.bring_in",
        subject="catalogue",
        facts=facts,
        at=at,
        actor=by,
        detail={"new": list(verdict.new), "replaced": list(verdict.replacing)},
    )
    return verdict


def _refuse(verdict: Verdict, replace: str) -> None:
    if verdict.rejected:
        first = verdict.rejected[0]
        raise BadInput(
            _("Nothing was imported: %(count)s rows will not do. Line %(line)s: %(why)s")
            % {"count": len(verdict.rejected), "line": first.line, "why": first.why},
            field="rows",
        )
    if verdict.replacing and replace != "confirmed":
        raise BadInput(
            _("Known models would get another bill of materials: %(models)s. Confirm it.")
            % {"models": ", ".join(verdict.replacing)},
            field="replace",
        )


def _write(pieces: Sequence[Piece]) -> None:
    model, _is_new = FrameModel.objects.update_or_create(
        code=pieces[0].model, defaults=dict(pieces[0].facts)
    )
    model.components.exclude(key__in=[piece.key for piece in pieces]).delete()
    for piece in pieces:
        Component.objects.update_or_create(
            model=model, key=piece.key, defaults=dict(piece.line_facts)
        )


class _No(Exception):
    """A row that will not do; its text says why. Never leaves this module."""


def _piece(line: csvlists.Line, parts: Mapping[str, Part]) -> Piece:
    cells = line.cells
    model, name = cells["model"].lower(), cells["name"]
    if not _CODE.fullmatch(model):
        raise _No(_("A model's code has up to 30 letters, digits, hyphens and underscores."))
    if not 1 <= len(name) <= 60:
        raise _No(_("A model's name has 1 to 60 characters."))
    facts: dict[str, Any] = {
        "name": name,
        "new_frame_cost_minor": _number(cells, "new_frame_cost_minor"),
    }
    if cells["expected_life_months"]:
        facts["expected_life_months"] = _number(cells, "expected_life_months", least=1)
    line_facts = _component(cells, parts)
    return Piece(
        line.number,
        model,
        tuple(facts.items()),
        _one_of(cells, "component", ComponentKey.values),
        tuple(line_facts.items()),
        line_facts["is_frame_material"],
    )


def _component(cells: Mapping[str, str], parts: Mapping[str, Part]) -> dict[str, Any]:
    nominal_mg, spread_mg = _number(cells, "nominal_mg", least=1), _number(cells, "spread_mg")
    if spread_mg >= nominal_mg:
        raise _No(_("The spread is smaller than the mass itself."))
    if cells["part"] and cells["part"] not in parts:
        raise _No(_("There is no part “%(code)s”.") % {"code": cells["part"][:40]})
    in_kit = _word(cells, "in_kit")
    if in_kit and not cells["part"]:
        raise _No(_("What comes in the spare kit needs its spare part."))
    return {
        "kind": _one_of(cells, "kind", ComponentKind.values),
        "nominal_mg": nominal_mg,
        "spread_mg": spread_mg,
        "is_frame_material": _word(cells, "frame_material"),
        "part": parts.get(cells["part"]),
        "in_kit": in_kit,
        "wall_um": _number(cells, "wall_um", least=1) if cells["wall_um"] else None,
    }


def _refuse_clash(piece: Piece, earlier: Iterable[Piece]) -> None:
    same = [one for one in earlier if one.model == piece.model]
    twin = next((one for one in same if one.key == piece.key), None)
    if twin is not None:
        raise _No(_("This component stands in line %(line)s already.") % {"line": twin.line})
    if same and same[0].facts != piece.facts:
        raise _No(
            _("The model is told otherwise in line %(line)s: name, cost or lifetime.")
            % {"line": same[0].line}
        )


def _without_frame_material(pieces: Sequence[Piece], spoilt: set[str]) -> list[Rejected]:
    """A bill with no frame material could never be ground; one with bad rows is told of those."""
    found: list[Rejected] = []
    for model in sorted({piece.model for piece in pieces} - spoilt):
        own = [piece for piece in pieces if piece.model == model]
        if not any(piece.is_frame_material for piece in own):
            why = _("No component of this model is frame material.")
            found.append(Rejected(own[0].line, model, own[0].key, why))
    return found


def _number(cells: Mapping[str, str], name: str, *, least: int = 0) -> int:
    text = cells[name]
    if not _WHOLE.fullmatch(text) or not least <= int(text) <= NUMBER_MAX:
        raise _No(
            _("%(column)s must be a whole number from %(least)s on.")
            % {"column": name, "least": least}
        )
    return int(text)


def _word(cells: Mapping[str, str], name: str) -> bool:
    word = cells[name].lower()
    if word not in _WORDS:
        raise _No(_("%(column)s must be yes or no.") % {"column": name})
    return _WORDS[word]


def _one_of(cells: Mapping[str, str], name: str, allowed: Sequence[str]) -> str:
    if cells[name].lower() not in allowed:
        raise _No(
            _("%(column)s must be one of: %(allowed)s.")
            % {"column": name, "allowed": ", ".join(allowed)}
        )
    return cells[name].lower()
