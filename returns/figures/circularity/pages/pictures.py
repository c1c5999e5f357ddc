"""The owner's pictures: each drawn from the figures of one table, which stands under it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from inventory.furniture.numbers import fixed
from inventory.furniture.wording import mass
from inventory.models.places import PlaceKind
from returns import charts
from returns.charts.streams import Box, Layout, Room, Stand, Stream, laid_out
from returns.figures.circularity.pages import shown, tables
from returns.figures.circularity.pages.tables import Table
from returns.figures.circularity.queries.circularity import Circularity
from returns.figures.circularity.queries.grind_yields import GrindYields
from returns.figures.circularity.queries.material_flow import IN, INNER, OUT, MaterialFlow
from returns.figures.circularity.queries.turnaround import MonthRow, Turnaround

_COLUMNS = {
    PlaceKind.ARRIVALS: 1,
    PlaceKind.BENCH: 2,
    PlaceKind.SALVAGE: 3,
    PlaceKind.BOX: 3,
    PlaceKind.LOT: 4,
}
_LAST_COLUMN = 5
_SOURCES = (PlaceKind.WEARERS, PlaceKind.PRESS, PlaceKind.UNEXPLAINED)
_ENDS = (
    PlaceKind.WEARERS,
    PlaceKind.PRESS,
    PlaceKind.LENS,
    PlaceKind.METAL,
    PlaceKind.FOREIGN,
    PlaceKind.DUST,
    PlaceKind.PURGE,
    PlaceKind.MOISTURE,
    PlaceKind.UNEXPLAINED,
)


@dataclass(frozen=True, slots=True)
class Picture:
    """A heading, the drawing (None where there is nothing to draw), its table, and a note."""

    heading: str
    table: Table
    svg: SafeString | None
    note: str = ""
    nothing: str = ""


def _picture(
    table: Table, heading: str, is_empty: bool, draw: Callable[..., SafeString], note: str = ""
) -> Picture:
    return Picture(heading, table, None if is_empty else charts.for_screens(draw), note)


def months(rows: Sequence[MonthRow]) -> Picture:
    title = charts.Title(
        _("Frames by month"),
        _("Bars for each month: frames received, mended and reground. The table has the counts."),
    )
    series = [
        charts.Series(_("Received"), [row.received for row in rows]),
        charts.Series(_("Mended"), [row.repaired for row in rows]),
        charts.Series(_("Reground"), [row.reground for row in rows]),
    ]
    nothing = not any(sum(row.values) for row in series)
    return _picture(
        tables.returns(rows),
        _("Frames by month"),
        nothing,
        partial(charts.bars, title, [row.month for row in rows], series),
    )


def turnaround(found: Turnaround) -> Picture:
    title = charts.Title(
        _("Turnaround"), _("Frames by the days from weigh-in until they were done.")
    )
    series = [charts.Series(_("Frames"), [one.frames for one in found.bins])]
    return _picture(
        tables.turnaround(found),
        _("Days from weigh-in until done"),
        not found.done,
        partial(charts.bars, title, [one.label for one in found.bins], series),
    )


def losses(found: Circularity) -> Picture:
    title = charts.Title(
        _("Set aside or lost"), _("Mass by cause, in grams, at strip-down and at grinding.")
    )
    labels = [
        f"{tables.stage_name(loss.stage)}: {tables.cause_name(loss.cause)}" for loss in found.losses
    ]
    return _picture(
        tables.losses(found),
        _("What is set aside or lost"),
        not found.losses,
        partial(
            charts.lying_bars,
            title,
            labels,
            [loss.mass_mg / 1000 for loss in found.losses],
            [mass(loss.mass_mg) for loss in found.losses],
        ),
        _("What was not weighed itself takes the errors of what was weighed beside it."),
    )


def yields(found: GrindYields) -> Picture:
    """Draw the run chart; with too few runs for limits, say only what is missing."""
    chart = found.chart
    heading = _("Yield of each grind run")
    table = tables.yields(found)
    if chart is None:
        return Picture(heading, table, None, nothing=shown.lacking(found.missing))
    title = charts.Title(
        heading,
        _("Flake per mass ground of each run in the order they ended, with mean and limits."),
    )
    drawn = charts.Runs(
        runs=[charts.Run(r.code, r.share, chart.is_outside(r.share)) for r in found.runs],
        mean=chart.mean,
        low=chart.low,
        high=chart.high,
        most=1.0,
        names=(
            _("mean %(share)s") % {"share": shown.percent(chart.mean)},
            _("upper %(share)s") % {"share": shown.percent(chart.high)},
            _("lower %(share)s") % {"share": shown.percent(chart.low)},
        ),
        starts=starts_at,
    )
    note = _(
        "Limits are the mean ± 2.66 times the mean difference of neighbouring runs "
        "(individuals chart, NIST/SEMATECH e-Handbook 6.3.2.2). Runs outside: %(outside)s."
    ) % {"outside": ", ".join(run.code for run in found.outside) or _("none")}
    picture = charts.for_screens(partial(charts.runs, title, drawn, shown.percent))
    return Picture(heading, table, picture, note)


def starts_at(share: str) -> str:
    return _("The axis starts at %(share)s, not at zero.") % {"share": share}


def material(found: MaterialFlow) -> Picture:
    """Draw the way of the grams of returned frames through the house."""
    title = charts.Title(
        _("The way of the grams"),
        _(
            "Ribbons as wide as their mass, from customers over shelf, bench, box and lot to "
            "where it left. The table has every stream."
        ),
    )
    names = place_names()
    words = charts.FlowWords(names=names, mass=about, stock=_stock)

    def draw(width: float = charts.WIDTH) -> SafeString:
        return charts.flow(title, layout(found, charts.room(width)), words, width=width)

    return _picture(
        tables.streams(found, names),
        _("The way of the grams"),
        not found.moved,
        draw,
        _(
            "Returned frames only: bought feedstock and moulding scrap are left out. A coloured "
            "edge is what stayed in a place or was taken from what lay there."
        ),
    )


def layout(found: MaterialFlow, room: Room) -> Layout:
    streams = [Stream(one.source, one.target, one.mass_mg) for one in found.moved]
    stands = [Stand(f"{kind}.{IN}", 0) for kind in _SOURCES]
    stands += [Stand(str(kind), column) for kind, column in _COLUMNS.items()]
    stands += [Stand(f"{kind}.{OUT}", _LAST_COLUMN) for kind in _ENDS]
    known = {stand.key for stand in stands}
    # An end that the columns above do not foresee is drawn all the same: mass must not leave the
    # picture.
    rest = {end for one in streams for end in (one.source, one.target)} - known
    stands += [Stand(key, _LAST_COLUMN if key.endswith(OUT) else 0) for key in sorted(rest)]
    return laid_out(stands, streams, frozenset(map(str, INNER)), room)


def place_names() -> dict[str, str]:
    """Return what each end of a stream is called."""
    names = {str(kind): str(kind.label) for kind in INNER}
    for kind in PlaceKind:
        names[f"{kind}.{OUT}"] = str(kind.label)
        names[f"{kind}.{IN}"] = str(kind.label)
    return names | {
        f"{PlaceKind.WEARERS}.{OUT}": _("posted back"),
        f"{PlaceKind.PRESS}.{OUT}": _("moulding"),
        f"{PlaceKind.PRESS}.{IN}": _("new parts"),
        f"{PlaceKind.UNEXPLAINED}.{IN}": _("found in excess"),
    }


def about(mass_mg: int) -> str:
    """Write a mass for a drawing: whole grams, two decimals below ten. The table has it exactly."""
    return f"{fixed(mass_mg / 1000, 0 if mass_mg >= 10_000 else 2)} g"


def _stock(box: Box) -> str:
    if box.to_stock_mg:
        return _("%(mass)s stay") % {"mass": about(box.to_stock_mg)}
    if box.from_stock_mg:
        return _("%(mass)s from stock") % {"mass": about(box.from_stock_mg)}
    return ""


def flows(more: Any) -> list[dict[str, Any]]:
    return [
        {
            "table": tables.flow(name, caption, found),
            "lacking": shown.lacking(found.missing) if found.missing else "",
            "basis": shown.basis(found.evidence, found.of, found.method),
        }
        for name, caption, found in (
            ("inflow", _("Inflow: material issued to moulding"), more.inflow),
            ("outflow", _("Outflow: what became of returned frames"), more.outflow),
        )
    ]
