"""What waiting for an answer does to a promised day. Pure.

The rule: the promise pauses from the day of the question to the day of its answer or withdrawal,
by the workshop's clock. That many days are added, so a question answered on its own day adds none.
What was late when it was asked stays late by as many days.
"""

from __future__ import annotations

from datetime import date, timedelta


def paused_days(asked_on: date, closed_on: date) -> int:
    """Return by how many days a promise moves, never below 0: clocks are sometimes set back."""
    return max(0, (closed_on - asked_on).days)


def moved(promised_by: date, asked_on: date, closed_on: date) -> date:
    """Return the promised day after the wait for an answer."""
    return promised_by + timedelta(days=paused_days(asked_on, closed_on))


def was_late(promised_by: date, asked_on: date) -> bool:
    """Tell whether the promise was broken before anybody asked."""
    return promised_by < asked_on
