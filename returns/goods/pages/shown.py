"""How loads of goods are shown: shares in percent, streams in words, the way of their grams."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from inventory.furniture.numbers import fixed
from inventory.goods.queries import Standing, Yield
from inventory.goods.sums import Share
from inventory.models import LoadEntry, Stream, Went
from returns import charts
from returns.charts.streams import Box, Layout, Room, Stand, laid_out
from returns.charts.streams import Stream as Ribbon

Act = LoadEntry.Act


@dataclass(frozen=True, slots=True)
class Picture:
    """The drawing, and its table: from, to, milligrams."""

    svg: SafeString
    rows: tuple[tuple[str, str, int], ...]


def percent(share: float) -> str:
    """Return a share as a percentage with one decimal."""
    return f"{fixed(100 * share, 1)} %"


def share(found: Share) -> dict[str, str]:
    """Return a share with its range and what to expect of a next load, in words."""
    expected = ""
    if found.next_low is not None and found.next_high is not None:
        expected = _("%(low)s to %(high)s") % {
            "low": percent(found.next_low),
            "high": percent(found.next_high),
        }
    return {
        "mean": percent(found.mean),
        "range": _("%(low)s to %(high)s")
        % {"low": percent(found.low), "high": percent(found.high)},
        "next": expected,
    }


def yielded(found: Yield) -> dict[str, Any]:
    """Return one kind of goods as its rows of the table of yields."""
    rows = [(_("Into boxes"), share(found.boxed)), (_("Taken out"), share(found.taken_out))]
    rows += [(str(Stream(name).label), share(one)) for name, one in found.streams.items()]
    rows.append((_("Washed and dried off"), share(found.lost)))
    return {"it": found, "loads": found.boxed.loads, "rows": rows}


def streams(one: Standing) -> list[dict[str, Any]]:
    """Return what was taken out of a load, as it stands now."""
    return [
        {
            "it": entry,
            "mass_mg": entry.posting.quantity,
            "known": entry.posting.reading,
            "is_later": entry.act == Act.PICKED_OUT
            or (entry.kept_by is not None and entry.kept_by.act == Act.PICKED_OUT),
        }
        for entry in one.streams
    ]


def picture(loads: Sequence[Standing]) -> Picture | None:
    """Draw the way of the grams of some loads: in, over the table, to where each part went."""
    moved: Counter[tuple[str, str]] = Counter()
    for one in loads:
        _add(moved, one)
    ribbons = [Ribbon(source, target, mg) for (source, target), mg in moved.items() if mg > 0]
    if not ribbons:
        return None
    names = _names()
    title = charts.Title(
        _("The way of the goods"),
        _("Ribbons as wide as their mass, from the giver over the sorting table to where it went."),
    )
    words = charts.FlowWords(names=names, mass=_told, stock=_stock)

    def draw(width: float = charts.WIDTH) -> SafeString:
        return charts.flow(title, _layout(ribbons, charts.room(width)), words, width=width)

    rows = tuple((names[one.source], names[one.target], one.mass_mg) for one in ribbons)
    return Picture(charts.for_screens(draw), rows)


def _add(moved: Counter[tuple[str, str]], one: Standing) -> None:
    moved["in", "table"] += one.gross_mg
    moved["table", "box"] += one.boxed_mg
    moved["table", "washed"] += one.lost_mg
    for entry in one.streams:
        source = "table"
        if entry.act == Act.PICKED_OUT or (entry.kept_by and entry.kept_by.act == Act.PICKED_OUT):
            source = "box"
        moved[source, f"went_{entry.went}"] += entry.posting.quantity


def _layout(ribbons: Sequence[Ribbon], room: Room) -> Layout:
    ends = ["washed", *(f"went_{went}" for went in Went.values)]
    stands = [Stand("in", 0), Stand("table", 1), Stand("box", 2)]
    stands += [Stand(end, 3) for end in ends]
    return laid_out(stands, ribbons, frozenset({"table", "box"}), room)


def _names() -> dict[str, str]:
    return {
        "in": _("came in"),
        "table": _("sorting table"),
        "box": _("boxes"),
        "washed": _("washed and dried off"),
    } | {f"went_{went.value}": str(went.label) for went in Went}


def _told(mass_mg: int) -> str:
    return f"{fixed(mass_mg / 1_000_000, 2)} kg"


def _stock(box: Box) -> str:
    return _("%(mass)s stay") % {"mass": _told(box.to_stock_mg)} if box.to_stock_mg else ""
