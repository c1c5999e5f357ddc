"""What the people-and-frames room knows that would make a closed month untrue.

Dangling is what has happened but is not in the ledger, so that the month's grams or counts would
be wrong:
- a parcel that arrived and was not weighed in: frames stand in the house that no line shows;
- a frame whose story ended while the ledger still has its mass on a shelf or the bench;
- a frame that is still in the house by its story while the ledger has no mass of it there.

Merely open is what the ledger already shows where it is, and which may run over the turn of a
month: a frame that waits for grading or is held (its mass stands on its shelf, and the report
counts it as held), an open repair job (its mass is on the bench, each part left its bin as its step
was done), a frame waiting to be stripped or posted, a kit promised but still in its bin, a request
whose parcel has not come. None of these keeps a month open.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from django.db.models import Sum
from django.utils.translation import gettext as _

from inventory.furniture import numbers
from inventory.models import PlaceKind, Posting
from inventory.months.queries.months import Reason, span
from inventory.months.sums.calendar_month import MONTHS_PER_YEAR, YEAR_MAX, Month
from returns.models import Parcel, ReturnedFrame
from returns.story.sums.states import ON_A_SHELF

MONTH_LAST = Month(YEAR_MAX, MONTHS_PER_YEAR)
IN_HOUSE = (PlaceKind.ARRIVALS, PlaceKind.HOLD, PlaceKind.BENCH)


def month_guard(label: str) -> list[Reason]:
    """Return all in this room that keeps a month from being closed; empty when nothing does."""
    end = span(label)[1]
    return [*_unopened(end), *_frames(label, end)]


def _unopened(end: datetime) -> Iterator[Reason]:
    rows = Parcel.objects.filter(
        content=Parcel.Content.UNOPENED, done_at=None, arrived_at__lt=end
    ).order_by("arrived_at", "code")
    for code, arrived_at in rows.values_list("code", "arrived_at"):
        text = _("Parcel %(parcel)s is not weighed in. Weigh it in or mark it empty.")
        yield Reason("parcel-not-weighed-in", text % {"parcel": code}, code, arrived_at)


def _frames(label: str, end: datetime) -> Iterator[Reason]:
    """Compare each frame's state with the mass that the ledger has in the house under its tag.

    A state is today's: what is in the house today may have been apart when the month ended, and
    have been put together again since, so its mass is looked for in all that was booked.
    """
    # The last month that there can be stands for all that was booked: months are texts that sort by
    # time.
    held, held_now = _held_by_tag(label), _held_by_tag(str(MONTH_LAST))
    rows = ReturnedFrame.objects.filter(weighed_at__lt=end).order_by("tag")
    for tag, state, ended_at in rows.values_list("tag", "state", "ended_at"):
        mass_mg = held.get(tag, 0)
        # The end must lie before the month's: a frame that left since was rightly on the books
        # then.
        over = state not in ON_A_SHELF and ended_at is not None and ended_at < end
        if over and mass_mg != 0:
            text = _("Frame %(tag)s has left, but %(mass)s of it are still on the books.")
            shown = {"tag": tag, "mass": numbers.mass_words(mass_mg)}
            yield Reason("frame-left-mass-behind", text % shown, tag)
        elif state in ON_A_SHELF and held_now.get(tag, 0) <= 0:
            text = _("Frame %(tag)s is in the house, but the books have no mass of it there.")
            yield Reason("frame-without-mass", text % {"tag": tag}, tag)


def _held_by_tag(label: str) -> dict[str, int]:
    # By the month of booking, which is the month's own, and not by when something happened.
    rows = Posting.objects.filter(movement__month__lte=label).exclude(movement__subject="")
    held: dict[str, int] = {}
    # Two grouped sums for all frames at once: a question for each would grow with the house.
    for end, sign in (("target", 1), ("source", -1)):
        sums = rows.filter(**{f"{end}__kind__in": IN_HOUSE}).order_by()
        for tag, moved in sums.values_list("movement__subject").annotate(Sum("quantity")):
            held[tag] = held.get(tag, 0) + sign * moved
    return held
