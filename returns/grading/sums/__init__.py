"""Grading: mend a returned frame, make it into the next pair, or let a person look again.

The policy, in this order: a limit overrules everything; a frame that can be mended within the
ceiling is mended; otherwise it is ground, if the customer wished so and the plastic is ours.
"""

from __future__ import annotations

from returns.grading.sums.decision import Disposition, Figures, Grading, Outcome, grade
from returns.grading.sums.facts import (
    Ban,
    Finding,
    FrameFacts,
    GradingError,
    Limits,
    MeasuredLimit,
    PolymerCheck,
    Prices,
    Remedy,
    Stock,
    Wish,
)
from returns.grading.sums.plans import Plan, PlanSums
from returns.grading.sums.sensitivity import Number, Threshold, Weighing, thresholds
from returns.grading.sums.wording import Reason

__all__ = [
    "Ban",
    "Disposition",
    "Figures",
    "Finding",
    "FrameFacts",
    "Grading",
    "GradingError",
    "Limits",
    "MeasuredLimit",
    "Number",
    "Outcome",
    "Plan",
    "PlanSums",
    "PolymerCheck",
    "Prices",
    "Reason",
    "Remedy",
    "Stock",
    "Threshold",
    "Weighing",
    "Wish",
    "grade",
    "thresholds",
]
