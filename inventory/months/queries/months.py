"""Where each month stands, and what still keeps one from being closed. Reads only."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Any

from django.conf import settings
from django.db.models import Max, Min
from django.utils import timezone
from django.utils.module_loading import import_string
from django.utils.text import capfirst
from django.utils.translation import gettext as _

from inventory.errors import NotFound
from inventory.ledger.queries import balances, naming
from inventory.models import GrindRun, Month, Movement, Place
from inventory.months.sums.calendar_month import BadMonth, month_of
from inventory.months.sums.calendar_month import Month as CalendarMonth
from inventory.weighing.sums.traced import MassUncertainty, thawed_known

OPEN_RUNS = (GrindRun.State.PROPOSED, GrindRun.State.CONFIRMED, GrindRun.State.HELD)


class Standing(StrEnum):
    """Where a month stands on the workshop's clock."""

    RUNNING = "running"
    ENDED = "ended"
    CLOSED = "closed"
    AHEAD = "ahead"


@dataclass(frozen=True, slots=True)
class Reason:
    """One thing that keeps a month open, or speaks against it.

    `subject` is the code of what is still open, or empty; `since` is when it came to be so.
    """

    code: str
    text: str
    subject: str = ""
    since: datetime | None = None

    def __str__(self) -> str:
        return f"{self.code}: {self.text}"


@dataclass(frozen=True, slots=True)
class Listed:
    """A line in the list of months; `month` is set once the month is closed."""

    label: str
    standing: Standing
    month: Month | None

    @property
    def closing_mg(self) -> int | None:
        """Mass in boxes and lots at the close, as frozen; None while the month is open."""
        return sum(row[1][0] for row in self._held) if self.month else None

    @property
    def closing_known(self) -> MassUncertainty | None:
        """The uncertainty of that mass; None in a month that was closed before its row kept it."""
        kept = self.month.figures.get("closing_known") if self.month else None
        return None if kept is None else thawed_known(kept)

    @property
    def carried_minor(self) -> int | None:
        """Cost less allowance at the close, as frozen; None while the month is open."""
        return sum(row[1][1] - row[1][2] for row in self._held) if self.month else None

    @property
    def currency(self) -> str:
        return str(self.month.figures.get("currency", "")) if self.month else ""

    @property
    def _held(self) -> list[list[Any]]:
        return list(self.month.figures.get("values", [])) if self.month else []


def parsed(label: str) -> CalendarMonth:
    """Return the month that a label names. Raises NotFound for anything else."""
    try:
        return CalendarMonth.parse(label)
    except BadMonth as error:
        raise NotFound(_(error.template)) from error


def span(label: str) -> tuple[datetime, datetime]:
    """Return start (included) and end (excluded) of a month by the workshop's clock, in UTC."""
    return parsed(label).span_utc(timezone.get_default_timezone())


def standing(label: str, at: datetime) -> Standing:
    """Return where a month stands at a moment."""
    # What lies before the first month that was closed has no row, and is closed as well.
    if Month.objects.filter(label__gte=label).exists():
        return Standing.CLOSED
    start, end = span(label)
    if at < start:
        return Standing.AHEAD
    return Standing.ENDED if at >= end else Standing.RUNNING


def closed(label: str) -> Month | None:
    """Return the row of a closed month; None while it is open."""
    return Month.objects.filter(label=label).first()


def next_to_close() -> CalendarMonth | None:
    """Return the only month that may be closed next; None while nothing was ever booked."""
    last = Month.objects.order_by("-label").first()
    if last is not None:
        return CalendarMonth.parse(last.label).next()
    first = Movement.objects.aggregate(first=Min("month"))["first"]
    return CalendarMonth.parse(first) if first else None


def listed(at: datetime) -> list[Listed]:
    """Return every month from the first booked to the newest or the running one, newest first."""
    rows = {month.label: month for month in Month.objects.all()}
    labels = [str(month) for month in _from(*_bounds(at))]
    return [
        Listed(label, standing(label, at), rows.get(label))
        for label in sorted(labels, reverse=True)
    ]


def known(label: str, at: datetime) -> CalendarMonth:
    """Return the month of a label that has a page: from the first booked to the newest, or to now.

    Raises NotFound for every other label.
    """
    month = parsed(label)
    start, end = _bounds(at)
    if not start <= month <= end:
        raise NotFound(_("There are no books for this month."))
    return month


def _bounds(at: datetime) -> tuple[CalendarMonth, CalendarMonth]:
    here = str(month_of(at, timezone.get_default_timezone()))
    booked = Movement.objects.aggregate(first=Min("month"), last=Max("month"))
    closed_ = Month.objects.aggregate(first=Min("label"), last=Max("label"))
    labels = [here, *(label for label in (*booked.values(), *closed_.values()) if label)]
    return CalendarMonth.parse(min(labels)), CalendarMonth.parse(max(labels))


def reasons(label: str, at: datetime) -> list[Reason]:
    """Return everything that keeps a month from being closed at a moment; empty when it may be."""
    found = [*_order(label, at), *_open_runs(label), *_overdrawn(label)]
    # The other room's reasons come in by name from the settings: this room must not import it.
    for path in settings.MONTH_GUARDS:
        found += import_string(path)(label)
    return found


def _from(start: CalendarMonth, end: CalendarMonth) -> Iterator[CalendarMonth]:
    month = start
    while month <= end:
        yield month
        month = month.next()


def _order(label: str, at: datetime) -> Iterator[Reason]:
    expected = next_to_close()
    if expected is None:
        yield Reason("nothing-booked", _("Nothing was ever booked, so there is nothing to close."))
    elif str(expected) != label:
        text = _("Months are closed in order: the next one is %(month)s.")
        yield Reason("not-next", text % {"month": expected}, str(expected))
    # The end is excluded: at the very midnight the month has ended.
    if at < span(label)[1]:
        yield Reason("not-ended", _("The month has not ended on the workshop's clock."))


def _open_runs(label: str) -> Iterator[Reason]:
    """Yield open runs: one may have turned box material into flake that no posting shows yet."""
    # Proposed before the end: a run of the next month is no reason to keep this one open.
    runs = GrindRun.objects.filter(state__in=OPEN_RUNS, proposed_at__lt=span(label)[1])
    for run in runs.order_by("proposed_at", "code"):
        text = _("Grind run %(run)s is still %(state)s. Finish or cancel it.")
        shown = {"run": run.code, "state": run.get_state_display()}
        yield Reason("grind-run-open", text % shown, run.code, run.proposed_at)


def _overdrawn(label: str) -> Iterator[Reason]:
    """Yield overdrawn places: an entry dated back may take out what only came in later."""
    held = balances.at_close(label)
    short = [place for place, quantity in held.items() if quantity < 0]
    for place in Place.objects.filter(pk__in=short).order_by("code"):
        if not place.is_boundary:
            text = _("%(place)s: it would end the month at %(held)s. Mend the dates.")
            amount = naming.amount(place, held[place.pk])
            shown = {"place": capfirst(naming.words(place)), "held": amount}
            yield Reason("place-below-zero", text % shown, place.code)
