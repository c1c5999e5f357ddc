"""The recovered-material report: what came back, what became of it, and what it is worth."""

from __future__ import annotations

from inventory.months.queries.recovered.report import (
    EDITION,
    build,
    canonical,
    cell,
    digest,
    flows_of,
    frozen_now,
    held_at_close,
    of_month,
    parts_at_close,
)
from inventory.months.queries.recovered.shapes import Report

__all__ = [
    "EDITION",
    "Report",
    "build",
    "canonical",
    "cell",
    "digest",
    "flows_of",
    "frozen_now",
    "held_at_close",
    "of_month",
    "parts_at_close",
]
