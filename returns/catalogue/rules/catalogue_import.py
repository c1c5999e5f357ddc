"""Models and their bills of materials from a list: tried first, then brought in whole.

One row is one component. What a row says of its model is the same in all rows of that model. A
model that is known already gets the list's bill in place of its own, and only when confirmed. Its
colours are added to those it has; none is taken away, because frames were sold in it. A colour with
a variant, such as tideline/moss-arms, is a look whose components may differ: the column "differs"
of a component says tideline/moss-arms=moss.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Final
from uuid import UUID

from django.utils.translation import gettext as _

from inventory import events
from inventory.errors import BadInput
from inventory.events import Draft
from inventory.models import Colour
from returns.catalogue.rules import catalogue_rows, csvlists
from returns.catalogue.rules.catalogue_rows import EXAMPLE_MODEL, Piece, Rejected
from returns.models import Colourway, Component, DifferingComponent, FrameModel

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
OPTIONAL: Final = (
    "expected_life_months",
    "part",
    "in_kit",
    "wall_um",
    "rim",
    "polymer",
    "colours",
    "differs",
)
EXAMPLE: Final = (
    (EXAMPLE_MODEL, "Example", 1480, "front", "front", 11200, 112, "yes", 24, "", "", 1500),
    (EXAMPLE_MODEL, "Example", 1480, "arm_left", "arm", 4150, 50, "yes", 24, "", "", 1450),
    (EXAMPLE_MODEL, "Example", 1480, "arm_right", "arm", 4150, 50, "yes", 24, "", "", 1450),
    (EXAMPLE_MODEL, "Example", 1480, "lens_left", "lens", 2600, 52, "no", 24, "", "", ""),
)
"""Rows that show what a list looks like, up to the wall; they are never imported."""


@dataclass(frozen=True, slots=True)
class Change:
    """What a known model's component would be: empty `now` for a new one, empty `then` for none."""

    model: str
    component: str
    column: str
    now: str
    then: str


@dataclass(frozen=True, slots=True)
class Verdict:
    """What the list would do: model codes that are new, that are known, and bad rows.

    `colourless` are codes of models that no customer can choose, for want of a colour.
    """

    pieces: tuple[Piece, ...]
    rejected: tuple[Rejected, ...]
    new: tuple[str, ...]
    replacing: tuple[str, ...]
    changes: tuple[Change, ...] = ()
    colourless: tuple[str, ...] = ()

    @property
    def bad_rows(self) -> int:
        return len({one.line for one in self.rejected})


def read(content: bytes) -> tuple[csvlists.Line, ...]:
    """Return the rows of the list; BadInput (field "file") for what is no such list."""
    return csvlists.read(content, columns=COLUMNS, optional=OPTIONAL)


def check(lines: Sequence[csvlists.Line]) -> Verdict:
    """Say of each row whether it will do and, if not, all that is wrong. Writes nothing."""
    data = catalogue_rows.known()
    by_model: dict[str, list[Piece]] = defaultdict(list)
    rejected: list[Rejected] = []
    for line in lines:
        piece, slips = catalogue_rows.piece(line, data)
        # A row with slips of its own is not held against others as well: one cause is named, once.
        slips = slips or list(_clashes(piece, by_model[piece.model]))
        if slips:
            rejected += slips
        else:
            by_model[piece.model].append(piece)
    rejected += _without_frame_material(by_model, {one.model.lower() for one in rejected})
    codes = sorted(code for code, pieces in by_model.items() if pieces)
    found = {
        model.code: model
        # Read once for the whole list; the loops below use `all()`, which asks nothing more.
        for model in FrameModel.objects.prefetch_related("components__part", "colourways")
        if model.code in by_model
    }
    coloured = {code for code, model in found.items() if model.colourways.all()}
    return Verdict(
        pieces=tuple(piece for pieces in by_model.values() for piece in pieces),
        rejected=tuple(sorted(rejected, key=lambda one: one.line)),
        new=tuple(code for code in codes if code not in found),
        replacing=tuple(code for code in codes if code in found),
        changes=tuple(_changes(found.values(), by_model)),
        colourless=tuple(
            code for code in codes if code not in coloured and not by_model[code][0].looks
        ),
    )


# The press that confirms the replacing sends the list's own key once more.
@events.rule(
    "catalogue.bring_in",
    facts=lambda lines: [sorted(line.cells.items()) for line in lines],
    again=check,
    aside=["replace"],
)
def bring_in(
    event: Draft,
    /,
    *,
    key: UUID,
    lines: Sequence[csvlists.Line],
    replace: str = "",
    at: datetime,
    by: User,
) -> Verdict:
    """Write the whole list or nothing. Known models need `replace="confirmed"`.

    Raises BadInput naming what stands in the way. A repeat under the same key writes nothing.
    """
    verdict = check(lines)
    _refuse(verdict, replace)
    by_model: dict[str, list[Piece]] = defaultdict(list)
    for piece in verdict.pieces:
        by_model[piece.model].append(piece)
    for code in (*verdict.new, *verdict.replacing):
        _write(by_model[code])
    event.of("catalogue", new=list(verdict.new), replaced=list(verdict.replacing))
    return verdict


def _refuse(verdict: Verdict, replace: str) -> None:
    if verdict.rejected:
        first = verdict.rejected[0]
        raise BadInput(
            _("Nothing was imported: %(count)s rows will not do. Line %(line)s: %(why)s")
            % {"count": verdict.bad_rows, "line": first.line, "why": first.why},
            field="rows",
        )
    if verdict.replacing and replace != "confirmed":
        raise BadInput(
            _("Known models would get another bill of materials: %(models)s. Confirm it.")
            % {"models": ", ".join(verdict.replacing)},
            field="replace",
        )


def _write(pieces: Sequence[Piece]) -> None:
    first = pieces[0]
    model, is_new = FrameModel.objects.update_or_create(
        code=first.model, defaults=dict(first.facts)
    )
    lines = [Component(model=model, key=piece.key, **dict(piece.line_facts)) for piece in pieces]
    if not is_new:
        # Only what the list no longer names: what it names is updated in its place below.
        model.components.exclude(key__in=[piece.key for piece in pieces]).delete()
    Component.objects.bulk_create(
        lines,
        update_conflicts=True,
        # Both databases need the unique columns named for an insert that updates instead.
        unique_fields=["model", "key"],
        update_fields=[name for name, _value in first.line_facts],
    )
    if first.polymer is None:
        return
    for colour, variant in first.looks:
        # A look that exists keeps its materials: frames were sold in it.
        way, is_new = Colourway.objects.get_or_create(
            model=model,
            colour=colour,
            variant=variant,
            defaults={"polymer": first.polymer, "name": look_words(colour, variant)},
        )
        if is_new:
            DifferingComponent.objects.bulk_create(
                DifferingComponent(
                    colourway=way, key=piece.key, polymer=first.polymer, colour=other
                )
                for piece in pieces
                for look, other in piece.differs
                if look == (colour, variant)
            )


def look_words(colour: Colour, variant: str) -> str:
    """Return the name of a look: its colour, and its variant in words; "" for a plain one."""
    return f"{colour.name}, {variant.replace('-', ' ')}" if variant else ""


def _clashes(piece: Piece, earlier: Sequence[Piece]) -> Iterator[Rejected]:
    twin = next((one for one in earlier if one.key == piece.key), None)
    if twin is not None:
        why = _("This component stands in line %(line)s already.") % {"line": twin.line}
        yield Rejected(piece.line, piece.model, piece.key, why, "component", piece.key)
    elif earlier and earlier[0].says() != piece.says():
        why = _(
            "The model is told otherwise in line %(line)s: name, cost, lifetime, rims, polymer, "
            "colours."
        ) % {"line": earlier[0].line}
        yield Rejected(piece.line, piece.model, piece.key, why, "model", piece.model)


def _without_frame_material(
    by_model: dict[str, list[Piece]], spoilt: set[str]
) -> Iterator[Rejected]:
    """Refuse a bill without frame material, which could never be ground; bad rows come first."""
    for code, pieces in by_model.items():
        if pieces and code not in spoilt and not any(one.is_frame_material for one in pieces):
            why = _("No component of this model is frame material.")
            first = pieces[0]
            yield Rejected(first.line, code, first.key, why, "frame_material", "")


def _changes(models: Iterable[FrameModel], by_model: dict[str, list[Piece]]) -> Iterator[Change]:
    """Yield, cell by cell, what the known models' bills would become."""
    for model in models:
        pieces = {piece.key: piece for piece in by_model[model.code]}
        if not pieces:
            continue
        for name, data in next(iter(pieces.values())).facts:
            if getattr(model, name) != data:
                yield Change(model.code, "", name, str(getattr(model, name)), str(data))
        now = {line.key: line for line in model.components.all()}
        for key in sorted(now.keys() | pieces.keys()):
            yield from _line_changes(model.code, key, now.get(key), pieces.get(key))


def _line_changes(
    code: str, key: str, now: Component | None, then: Piece | None
) -> Iterator[Change]:
    if now is None or then is None:
        yield Change(code, key, "", key if now else "", key if then else "")
        return
    for name, data in then.line_facts:
        known = getattr(now, name)
        if known != data:
            yield Change(code, key, name, _cell(known), _cell(data))


def _cell(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return "–" if value is None else str(value)
