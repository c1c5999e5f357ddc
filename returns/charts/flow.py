"""The flow of grams as a drawing: boxes for places, ribbons as wide as what passed."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from django.utils.html import format_html
from django.utils.safestring import SafeString

from returns.charts import canvas
from returns.charts.canvas import LINE_PX, Title
from returns.charts.streams import BOX_PX, Box, Layout, Ribbon

LEFT = 118.0
RIGHT = 232.0
TOP = 60.0


def flow(
    called: Title,
    layout: Layout,
    names: Mapping[str, str],
    told: Callable[[int], str],
    stock: Callable[[Box], str],
) -> SafeString:
    """Draw a layout. `names` are the places' names, `told` says a mass, `stock` a box's stock."""
    width = max((box.x for box in layout.boxes), default=0) + BOX_PX
    height = max((box.y + box.height for box in layout.boxes), default=0)
    last = max((box.x for box in layout.boxes), default=0)
    drawn = [_ribbon(one, names, told) for one in layout.ribbons]
    for box in layout.boxes:
        kind = "chart-mark chart-mark-2" if box.is_end else "chart-mark chart-mark-1"
        shape = (LEFT + box.x, TOP + box.y, BOX_PX, max(1.0, box.height))
        drawn.append(canvas.rect(shape, kind, f"{names[box.key]}: {told(box.mass_mg)}"))
        drawn += _stock(box, layout.px_per_mg)
        drawn += _name(box, names[box.key], (told(box.mass_mg), stock(box)), last)
    return canvas.picture(called, drawn, height=height + TOP + 16, width=LEFT + width + RIGHT)


def _ribbon(one: Ribbon, names: Mapping[str, str], told: Callable[[int], str]) -> SafeString:
    x1, x2 = LEFT + one.x1, LEFT + one.x2
    y1, y2, wide = TOP + one.y1, TOP + one.y2, max(0.75, one.width)
    bend = (x1 + x2) / 2
    path = (
        f"M{x1:.1f},{y1:.2f} C{bend:.1f},{y1:.2f} {bend:.1f},{y2:.2f} {x2:.1f},{y2:.2f} "
        f"v{wide:.2f} C{bend:.1f},{y2 + wide:.2f} {bend:.1f},{y1 + wide:.2f} "
        f"{x1:.1f},{y1 + wide:.2f} Z"
    )
    words = f"{names[one.stream.source]} → {names[one.stream.target]}: {told(one.stream.mass_mg)}"
    return format_html('<path class="chart-ribbon" d="{}">{}</path>', path, canvas.title(words))


def _stock(box: Box, px_per_mg: float) -> list[SafeString]:
    """What stayed, or was taken from what lay there, as a hatched end of the box."""
    mass_mg = box.to_stock_mg or box.from_stock_mg
    if not mass_mg:
        return []
    tall = mass_mg * px_per_mg
    side = 0.0 if box.from_stock_mg else BOX_PX / 2
    shape = (LEFT + box.x + side, TOP + box.y + box.height - tall, BOX_PX / 2, max(1.0, tall))
    return [canvas.rect(shape, "chart-stock")]


def _name(box: Box, name: str, told: tuple[str, str], last: float) -> list[SafeString]:
    mass, stock = told
    middle = TOP + box.y + box.height / 2 + 4
    if box.x >= last:
        return [canvas.text(LEFT + box.x + BOX_PX + 8, middle, f"{name} · {mass}")]
    if box.x <= 0:
        return [
            canvas.text(LEFT + box.x - 8, middle - LINE_PX / 2, name, "end"),
            canvas.text(LEFT + box.x - 8, middle + LINE_PX / 2, mass, "end"),
        ]
    above = TOP + box.y - 6
    at = LEFT + box.x + BOX_PX / 2
    lines = [name, mass, *([stock] if stock else [])]
    return [
        canvas.text(at, above - LINE_PX * (len(lines) - 1 - n), line, "middle", "chart-halo")
        for n, line in enumerate(lines)
    ]
