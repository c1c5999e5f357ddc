"""Which copies stay, and when the next is due."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from deploy import keeping

ZONE = ZoneInfo("Europe/Berlin")
NOW = datetime(2026, 10, 20, 1, 30, tzinfo=UTC)  # 03:30 in the workshop


def due(**facts: datetime | None) -> bool:
    return keeping.is_due(**({"last": None, "failed": None, "now": NOW, "zone": ZONE} | facts))


def test_after_two_years_of_nights_seven_days_four_weeks_and_twelve_months_stay() -> None:
    """Counted by hand: 20 October 2026 is a Tuesday, and newest of a span stands for it."""
    nights = [NOW - timedelta(days=back) for back in range(730)]
    days = {NOW - timedelta(days=back) for back in range(7)}
    sundays = {datetime(2026, 10, day, 1, 30, tzinfo=UTC) for day in (18, 11, 4)}
    ends = [(2026, 9, 30), (2026, 8, 31), (2026, 7, 31), (2026, 6, 30), (2026, 5, 31)]
    ends += [(2026, 4, 30), (2026, 3, 31), (2026, 2, 28), (2026, 1, 31), (2025, 12, 31)]
    ends += [(2025, 11, 30)]
    months = {datetime(*end, 1, 30, tzinfo=UTC) for end in ends}
    assert keeping.kept(nights, ZONE) == days | sundays | months | {NOW}


def test_a_machine_that_was_off_for_a_year_forgets_nothing_for_it() -> None:
    old = [NOW - timedelta(days=400 + back) for back in range(3)]
    assert keeping.kept([*old, NOW], ZONE) == {*old, NOW}


def test_two_copies_of_a_day_leave_the_newer() -> None:
    assert keeping.kept([NOW, NOW - timedelta(minutes=5)], ZONE) == {NOW}


def test_due_from_two_at_night_on_the_workshops_clock() -> None:
    yesterday = NOW - timedelta(days=1)
    night = datetime(2026, 10, 20, 0, 0, tzinfo=UTC)  # 02:00 in the workshop
    assert due(last=yesterday, now=night)
    assert not due(last=yesterday, now=night - timedelta(seconds=1))
    assert not due(last=night, now=night + timedelta(hours=21, minutes=59))


def test_due_as_soon_as_a_machine_that_was_off_at_night_runs() -> None:
    assert due(last=NOW - timedelta(days=1), now=NOW + timedelta(hours=6))
    assert due()


def test_a_failure_is_tried_again_after_an_hour_and_not_before() -> None:
    assert not due(failed=NOW - timedelta(minutes=59))
    assert due(failed=NOW - timedelta(minutes=60))
