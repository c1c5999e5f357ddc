"""Pictures drawn on the server as SVG, one module a kind of picture.

A picture says nothing that the table beside it does not say. Colours come from the style sheet's
classes, so that both themes have them; nothing here is styled inline, which the content security
policy would refuse. Text is never drawn smaller than it is read: `for_screens` draws a chart twice,
for a page and for a phone. The flow is too wide for that and scrolls inside its own region.
"""

from __future__ import annotations

from returns.charts.bars import Series, bars, lying_bars
from returns.charts.canvas import Title, for_screens
from returns.charts.curves import Fan, FanMonth, Line, Lived, Point, curves, fan, smooth, survival
from returns.charts.flow import flow
from returns.charts.runs import Run, Runs, runs

__all__ = [
    "Fan",
    "FanMonth",
    "Line",
    "Lived",
    "Point",
    "Run",
    "Runs",
    "Series",
    "Title",
    "bars",
    "curves",
    "fan",
    "flow",
    "for_screens",
    "lying_bars",
    "runs",
    "smooth",
    "survival",
]
