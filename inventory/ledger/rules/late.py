"""A fact that is told days later: dated where it happened, with when it was told, and why so late.

The ledger books it in the month of its day, or, when that is closed, in the first open one with a
note of the month it belongs to. Counts are not told late: what lies there is known only now.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any, Final, TypeVar

from django.utils import timezone
from django.utils.translation import gettext as _

from inventory import clock
from inventory.errors import BadInput
from inventory.models import Movement

Made = TypeVar("Made")
REASON_LENGTH_MAX: Final = 200
BACK_MAX: Final = timedelta(days=400)


@dataclass(frozen=True, slots=True)
class Told:
    """When a late fact is told, and why it comes late."""

    at: datetime
    reason: str


_told: ContextVar[Told | None] = ContextVar("told_late", default=None)


def telling(rule: Callable[..., Made]) -> Callable[..., Made]:
    """Return the rule with two more arguments, `happened_on` and `late_reason`, neither required.

    With a day before today, the rule's `at` is noon of that day, and all it posts says when it was
    told and why. Raises BadInput for a day to come or over 400 days ago, and for one without a
    reason or with one over 200 characters.
    """

    def told(
        *, at: datetime, happened_on: date | None = None, late_reason: str = "", **facts: Any
    ) -> Made:
        if happened_on is None or happened_on == clock.day_of(at):
            return rule(at=at, **facts)
        moment = _moment(happened_on, late_reason, at)
        with _noted(Told(at, late_reason.strip())):
            return rule(at=moment, **facts)

    return told


def note(movement: Movement) -> None:
    """Write on a movement that is about to be saved when it was told, and why late."""
    told = _told.get()
    movement.recorded_at = told.at if told else movement.happened_at
    if told:
        both = [movement.reason, told.reason]
        movement.reason = "; ".join(filter(None, both))[:REASON_LENGTH_MAX]


def _moment(happened_on: date, reason: str, at: datetime) -> datetime:
    if happened_on > clock.day_of(at):
        raise BadInput(_("This day is still to come."), field="happened_on")
    # A slip of the year would book a fact where nobody looks for it.
    if happened_on < clock.day_of(at) - BACK_MAX:
        raise BadInput(_("This day is more than 400 days ago."), field="happened_on")
    if not 1 <= len(reason.strip()) <= REASON_LENGTH_MAX:
        raise BadInput(_("Say why it comes late, in up to 200 characters."), field="late_reason")
    return timezone.make_aware(datetime.combine(happened_on, time(12)))


@contextmanager
def _noted(told: Told) -> Iterator[None]:
    token = _told.set(told)
    try:
        yield
    finally:
        _told.reset(token)
