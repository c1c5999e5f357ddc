"""The tables beside the pictures, one shape for the page and for the download."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from math import ceil
from typing import Any

from django.utils.text import capfirst
from django.utils.translation import gettext as _

from inventory import clock
from inventory.furniture.numbers import fixed
from inventory.furniture.wording import local, mass, ppm, uncertainty
from inventory.models import Origin
from inventory.models.places import PlaceKind
from inventory.months.reports.tabular import safe
from inventory.weighing.sums.traced import MassUncertainty
from inventory.wording import unbroken_factor
from returns.figures.circularity.pages import shown
from returns.figures.circularity.queries.circular_flows import FlowTable
from returns.figures.circularity.queries.circularity import Circularity
from returns.figures.circularity.queries.grind_yields import GrindYields
from returns.figures.circularity.queries.indicators import ModelIndicator
from returns.figures.circularity.queries.material_flow import Gained, MaterialFlow, Moved
from returns.figures.circularity.queries.reasons import Reasons
from returns.figures.circularity.queries.turnaround import MonthRow, Turnaround
from returns.models.catalogue import ComponentKey
from returns.models.remedies import DefectKey


@dataclass(frozen=True, slots=True)
class Cell:
    """What the download holds, and how the page shows it."""

    raw: str | int | float | None
    text: str
    is_number: bool = True


@dataclass(frozen=True, slots=True)
class Table:
    """`keys` head the download and never change with the language; `headings` head the page."""

    name: str
    caption: str
    keys: tuple[str, ...]
    headings: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]

    @property
    def columns(self) -> list[tuple[str, bool]]:
        """Each heading, and whether its column holds numbers."""
        first = self.rows[0] if self.rows else ()
        # A table that is a download only has no headings, so the two may differ in length.
        numeric = [cell.is_number for cell in first] or [False] * len(self.headings)
        return list(zip(self.headings, numeric, strict=False))

    def csv(self) -> bytes:
        """Return UTF-8 with CRLF (RFC 4180); text that a spreadsheet could run is defused."""
        out = io.StringIO(newline="")
        writer = csv.writer(out, dialect="excel", lineterminator="\r\n")
        writer.writerow(self.keys)
        for row in self.rows:
            writer.writerow([_raw(cell.raw) for cell in row])
        return out.getvalue().encode()


def _raw(value: str | int | float | None) -> str | int:
    if value is None:
        return ""
    # A fixed form with a point, whatever the reader's language: a program reads the download.
    if isinstance(value, float):
        return f"{value:.6f}"
    # A text that begins like a formula would be run by a spreadsheet; numbers cannot be one.
    return safe(value) if isinstance(value, str) else value


def words(text: str, shown: str = "") -> Cell:
    return Cell(text, shown or text, is_number=False)


def day(moment: datetime) -> Cell:
    """Return the day of a moment on the workshop's clock."""
    on = clock.day_of(moment)
    return words(on.isoformat(), local(on))


def count(number: int) -> Cell:
    return Cell(number, str(number))


def tenths(figure: float) -> Cell:
    return Cell(figure, fixed(figure, 1))


def grams(mass_mg: int) -> Cell:
    return Cell(mass_mg, mass(mass_mg))


def share(part: float | None) -> Cell:
    return Cell(part, "–" if part is None else ppm(round(part * 1_000_000)))


def returns(rows: Sequence[MonthRow]) -> Table:
    return Table(
        "returns",
        _("Frames by month"),
        ("month", "received", "repaired", "reground", "other_end"),
        (_("Month"), _("Received"), _("Mended"), _("Reground"), _("Other end")),
        tuple(
            (
                words(row.month),
                count(row.received),
                count(row.repaired),
                count(row.reground),
                count(row.other),
            )
            for row in rows
        ),
    )


def losses(figures: Circularity) -> Table:
    return Table(
        "losses",
        _("Where mass was set aside or lost"),
        ("stage", "cause", "mass_mg", "expanded_mg", "share_of_stage"),
        (_("Step"), _("Cause"), _("Mass"), _expanded(), _("Share of the step")),
        tuple(
            (
                words(loss.stage, stage_name(loss.stage)),
                words(loss.cause, cause_name(loss.cause)),
                grams(loss.mass_mg),
                _spread(loss.expanded_mg),
                share(loss.share),
            )
            for loss in figures.losses
        ),
    )


def _expanded() -> str:
    """Return the heading over a ±; its coverage factor stays on one line."""
    return unbroken_factor(_("± (k = 2)"))


def _spread(expanded_mg: float | None) -> Cell:
    """Round a ± up to a milligram; what was not weighed itself has none."""
    if expanded_mg is None:
        return Cell(None, _("not weighed"))
    # Upward, so that no uncertainty is stated smaller than it is.
    return grams(ceil(expanded_mg))


def _uncertainty_cells(mass_mg: int, data: MassUncertainty) -> tuple[Cell, Cell]:
    """Return the ± (k = 2) of what readings support, and the part of a mass that none supports."""
    if not mass_mg:
        return Cell(None, "–"), Cell(0, "–")
    expanded = ceil(data.expanded_ug / 1000)
    return (
        Cell(expanded, uncertainty(data.expanded_ug)) if data.is_weighed else Cell(None, "–"),
        grams(data.booked_mg) if data.booked_mg else Cell(0, "–"),
    )


def _of_all(data: MassUncertainty) -> Cell:
    """Return the ± of a mass, where readings support all of it."""
    return _spread(None if data.booked_mg else data.expanded_ug / 1000)


def stage_name(stage: str) -> str:
    return {"strip_down": _("Strip-down"), "grind": _("Grinding")}.get(stage, stage)


def cause_name(cause: str) -> str:
    return str(PlaceKind(cause).label)


def reasons(found: Reasons) -> Table:
    return Table(
        "reasons",
        _("What was found, by component and defect"),
        ("component", *found.defects, "total"),
        (_("Component"), *(defect_name(key) for key in found.defects), _("Total")),
        tuple(
            (
                words(component, component_name(component)),
                *(count(number) for number in counts),
                count(total),
            )
            for component, counts, total in found.rows
        ),
    )


def shades(found: Reasons) -> list[tuple[str, list[tuple[int, int]], int]]:
    """Component, each count with its shade 0 to 4 by the largest count, and their sum."""
    most = max((max(counts, default=0) for counts in found.counts), default=0) or 1
    return [
        (
            component_name(component),
            # Division rounded up: what was seen even once has a shade, and only zero has none.
            [(seen, -(-4 * seen // most)) for seen in counts],
            total,
        )
        for component, counts, total in found.rows
    ]


def yields(found: GrindYields) -> Table:
    return Table(
        "yields",
        _("Yield of each grind run"),
        (
            *("run", "finished", "yield", "yield_expanded"),
            *("ground_mg", "ground_expanded_mg", "flake_mg", "flake_expanded_mg"),
        ),
        (
            *(_("Run"), _("Ended"), _("Yield"), _expanded()),
            *(_("Ground"), _expanded(), _("Flake"), _expanded()),
        ),
        tuple(
            (
                words(run.code),
                day(run.finished_at),
                share(run.share),
                _share_spread(run.expanded),
                grams(run.ground_mg),
                _of_all(run.ground_known),
                grams(run.flake_mg),
                _of_all(run.flake_known),
            )
            for run in found.runs
        ),
    )


def _share_spread(expanded: float | None) -> Cell:
    """Give a ± in per cent, two decimals, rounded up; none where some mass was not weighed."""
    if expanded is None:
        return Cell(None, _("not weighed"))
    # To whole hundredths of a per cent, upward, then in the millionths that `ppm` takes.
    return Cell(expanded, ppm(ceil(expanded * 10_000) * 100, 2))


def streams(found: MaterialFlow, names: Mapping[str, str]) -> Table:
    rows: list[tuple[Cell, Cell, Moved | Gained]] = [
        (words(one.source, names[one.source]), words(one.target, names[one.target]), one)
        for one in found.moved
    ]
    rows += [
        (words(key, names[key]), words("stock", _("stays in place")), gain)
        for key, gain in found.gained.items()
        if gain.mass_mg
    ]
    return Table(
        "streams",
        _("Grams from place to place; below zero is taken from stock"),
        ("from", "to", "mass_mg", "expanded_mg", "unweighed_mg"),
        (_("From"), _("To"), _("Mass"), _expanded(), capfirst(_("not weighed"))),
        tuple(
            (source, target, grams(one.mass_mg), *_uncertainty_cells(one.mass_mg, one.known))
            for source, target, one in rows
        ),
    )


def models(found: Sequence[ModelIndicator]) -> Table:
    return Table(
        "models",
        _("Material circularity indicator of each model"),
        ("model", "indicator", "low", "high", "missing"),
        (_("Model"), _("Indicator"), _("From"), _("To"), _("Note")),
        tuple(
            (
                words(one.code, one.name),
                *(hundredths(v) for v in (one.found.figure, one.found.low, one.found.high)),
                words(
                    _absent(one.found.missing),
                    shown.lacking(one.found.missing)
                    if one.found.missing
                    else shown.spread_words(one.found),
                ),
            )
            for one in found
        ),
    )


def hundredths(figure: float | None) -> Cell:
    return Cell(figure, "–" if figure is None else fixed(figure, 2))


def component_name(key: str) -> str:
    return str(ComponentKey(key).label)


def defect_name(key: str) -> str:
    return str(DefectKey(key).label)


def turnaround(found: Turnaround) -> Table:
    return Table(
        "turnaround",
        _("Days from weigh-in until posted or taken apart"),
        ("days_from", "days_to", "frames"),
        (_("From day"), _("To day"), _("Frames")),
        tuple(
            (
                count(one.first),
                Cell(one.last, _("and more") if one.last is None else str(one.last)),
                count(one.frames),
            )
            for one in found.bins
        ),
    )


def content(figures: Circularity) -> Table:
    found = figures.content
    rows = [
        (Origin.RETURN, found.counted_mg),
        (Origin.FEEDSTOCK, found.counted_mg),
        (Origin.VIRGIN, found.counted_mg),
        # Own scrap is shown, but is on neither side of the share (ISO 14021).
        (Origin.IN_PROCESS, 0),
    ]
    return Table(
        "content",
        _("What was issued to moulding, by origin"),
        ("origin", "mass_mg", "expanded_mg", "unweighed_mg", "share_of_counted"),
        (
            _("Origin"),
            _("Mass"),
            _expanded(),
            capfirst(_("not weighed")),
            _("Share of what counts"),
        ),
        tuple(
            (
                words(origin.value, str(origin.label)),
                grams(mass.mass_mg),
                *_uncertainty_cells(mass.mass_mg, mass.known),
                share(mass.mass_mg / whole_mg if whole_mg else None),
            )
            for origin, whole_mg in rows
            for mass in (found.weighed[origin],)
        ),
    )


def flow(name: str, caption: str, found: FlowTable) -> Table:
    names = {
        "reused": _("reused"),
        "recycled": _("recycled"),
        "renewable": _("renewable"),
        "biological": _("back to nature"),
        "linear": _("linear"),
    }
    return Table(
        name,
        caption,
        ("category", "mass_mg", "expanded_mg", "share", "low", "high", "not_applicable_because"),
        (_("Category"), _("Mass"), _expanded(), _("Share"), _("From"), _("To"), _("Note")),
        tuple(
            (
                words(one.category, names[one.category]),
                grams(one.mass_mg),
                _spread(one.expanded_mg) if one.mass_mg else Cell(None, "–"),
                share(one.percent / 100),
                *(
                    share(None if p is None else p / 100)
                    for p in (one.low_percent, one.high_percent)
                ),
                words(one.not_applicable),
            )
            for one in found.shares
        ),
    )


def figures(found: Circularity) -> Table:
    """Return the key figures for download: share, limits, evidence and method, a line each."""
    judged: dict[str, Any] = {
        "take_back": found.take_back,
        "take_back_in_span": found.take_back_in_span,
        "repair_share": found.repair_share,
        "recovery_yield": found.recovery_yield,
        "recycled_content": found.recycled_content,
        "closed_loop_share": found.closed_loop,
    }
    rows = [
        (words(name), *_limits(one.share), words(_absent(one.missing)))
        for name, one in judged.items()
    ]
    return Table(
        "figures",
        _("Key figures"),
        ("figure", "share", "low", "high", "evidence", "method", "missing"),
        (),
        tuple(rows),
    )


def _limits(found: Any) -> tuple[Cell, ...]:
    if found is None:
        return (Cell(None, ""),) * 4 + (words(""),)
    shares = (share(found.share), share(found.low), share(found.high))
    return (*shares, count(found.evidence), words(found.method))


def _absent(missing: Any) -> str:
    return "" if missing is None else f"{missing.have} of {missing.need} {missing.of}"
