"""The calendar month as a value, and the span of time it covers on the workshop's clock.

Local midnights bound a month; they are turned into UTC here and nowhere else.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import ClassVar, Self
from zoneinfo import ZoneInfo

from inventory.wording import gettext_noop

YEAR_MIN = 1970
YEAR_MAX = 2999
MONTHS_PER_YEAR = 12

# Matched with `fullmatch`; `[0-9]` and not `\d`, since `int` also reads the digits of other scripts
# and the label would no longer sort as text.
_SHAPE = re.compile(r"([0-9]{4})-([0-9]{2})")


class BadMonth(ValueError):
    """A text or a pair of numbers that is no month between 1970-01 and 2999-12."""

    code: ClassVar[str] = "bad_month"
    template: ClassVar[str] = gettext_noop(
        "This is not a month. Write year and month, for example 2026-10."
    )

    def __init__(self) -> None:
        super().__init__(self.template)


@dataclass(frozen=True, slots=True, order=True)
class Month:
    """One calendar month; months sort by time.

    Raises:
        BadMonth: the year is outside 1970 to 2999 or the number outside 1 to 12.
    """

    year: int
    number: int

    def __post_init__(self) -> None:
        year_fits = YEAR_MIN <= self.year <= YEAR_MAX
        if not (year_fits and 1 <= self.number <= MONTHS_PER_YEAR):
            raise BadMonth

    @classmethod
    def parse(cls, text: str) -> Self:
        """Read "2026-10"; anything else raises BadMonth."""
        shape = _SHAPE.fullmatch(text)
        if shape is None:
            raise BadMonth
        return cls(int(shape[1]), int(shape[2]))

    @classmethod
    def of_date(cls, day: date) -> Self:
        """Return the month a day lies in."""
        return cls(day.year, day.month)

    def __str__(self) -> str:
        return f"{self.year:04d}-{self.number:02d}"

    def next(self) -> Month:
        """Return the month after; BadMonth after 2999-12."""
        return self._shifted(1)

    def previous(self) -> Month:
        """Return the month before; BadMonth before 1970-01."""
        return self._shifted(-1)

    @property
    def first_day(self) -> date:
        """The first day of the month."""
        return date(self.year, self.number, 1)

    @property
    def last_day(self) -> date:
        """The last day of the month."""
        return self._first_day_after() - timedelta(days=1)

    def span_utc(self, zone: ZoneInfo) -> tuple[datetime, datetime]:
        """Return start (included) and end (excluded) in UTC, from local midnight to midnight.

        Where a clock change leaves out a local midnight, the span begins at the change.
        """
        return _midnight_utc(self.first_day, zone), _midnight_utc(self._first_day_after(), zone)

    def _shifted(self, months: int) -> Month:
        year, index = divmod(self.year * MONTHS_PER_YEAR + self.number - 1 + months, 12)
        return Month(year, index + 1)

    def _first_day_after(self) -> date:
        # Worked out as a date and not by `next()`: the last month there is has a last day too.
        year, index = divmod(self.year * MONTHS_PER_YEAR + self.number, MONTHS_PER_YEAR)
        return date(year, index + 1, 1)


def month_of(moment: datetime, zone: ZoneInfo) -> Month:
    """Return the month whose span holds an aware moment on the clock of `zone`.

    Raises:
        ValueError: the moment has no time zone.
        BadMonth: it lies outside 1970 to 2999.
    """
    # A naive moment would be read in the machine's own zone, without a word.
    if moment.utcoffset() is None:
        raise ValueError("a moment needs its time zone")
    month = Month.of_date(moment.astimezone(zone).date())
    start, end = month.span_utc(zone)
    # A clock set back over midnight shows the last minutes of the old month twice.
    if moment < start:
        return month.previous()
    return month.next() if moment >= end else month


def _midnight_utc(day: date, zone: ZoneInfo) -> datetime:
    # A midnight that the clock shows twice is the earlier one (fold = 0, PEP 495): all that follows
    # is the new month's, and no moment lies in two.
    return datetime(day.year, day.month, day.day, tzinfo=zone).astimezone(UTC)
