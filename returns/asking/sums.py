"""What waiting for an answer does to a promised day. Pure.

The rule: the promise pauses from the day of the question to the day of its answer or withdrawal,
by the workshop's clock. A promise counts the days on which the workshop is open, so its pause does
too: as many days are left after the answer as were left before the question, and one answered on
its own day moves nothing. What was late when it was asked stays late by as many open days.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

from inventory.masters.sums import open_days, promised


def moved(
    promised_by: date, asked_on: date, closed_on: date, is_closed: Callable[[date], bool]
) -> date:
    """Return the promised day after the wait for an answer, never an earlier one.

    Clocks are sometimes set back: an answer from before its question moves nothing.
    """
    return promised(promised_by, open_days(asked_on, closed_on, is_closed), is_closed)


def was_late(promised_by: date, asked_on: date) -> bool:
    """Tell whether the promise was broken before anybody asked."""
    return promised_by < asked_on
