"""Pictures drawn on the server as SVG, one module a kind of picture.

A picture says nothing that the table beside it does not say. Colours come from the style sheet's
classes, so that both themes have them; nothing here is styled inline, which the content security
policy would refuse. Text is never drawn smaller than it is read: `for_screens` draws a chart twice,
for a page and for a phone, where it is seen whole.
"""

from __future__ import annotations

from returns.charts.bars import Series, bars, lying_bars
from returns.charts.canvas import WIDTH, Title, for_screens
from returns.charts.curves import Fan, FanMonth, Line, Lived, Point, curves, fan, smooth, survival
from returns.charts.flow import FlowWords, flow, room
from returns.charts.runs import Run, Runs, runs

__all__ = [
    "WIDTH",
    "Fan",
    "FanMonth",
    "FlowWords",
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
    "room",
    "runs",
    "smooth",
    "survival",
]
