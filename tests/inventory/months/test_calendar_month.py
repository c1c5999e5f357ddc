"""Months on the workshop's clock: constructed vectors; clock changes from the tz database."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.months.sums.calendar_month import BadMonth, Month, month_of

BERLIN = ZoneInfo("Europe/Berlin")
ZONES = [
    BERLIN,
    ZoneInfo("UTC"),
    ZoneInfo("America/St_Johns"),
    ZoneInfo("America/Asuncion"),
    ZoneInfo("Pacific/Apia"),
    ZoneInfo("Asia/Amman"),
]


def test_month_reads_and_writes_the_same_text() -> None:
    assert Month.parse("2026-10") == Month(2026, 10)
    assert str(Month(2026, 3)) == "2026-03"


@pytest.mark.parametrize(
    "text",
    ["", "2026", "2026-00", "2026-13", "26-10", "2026-1", "2026-10-01", " 2026-10", "2026-10\n",
     "２０２６-10", "1969-12", "3000-01", "2026/10"],
)  # fmt: skip
def test_text_that_is_no_month_is_refused(text: str) -> None:
    with pytest.raises(BadMonth) as refused:
        Month.parse(text)
    assert refused.value.code == "bad_month"
    assert "2026-10" in str(refused.value)


def test_neighbours_cross_the_year() -> None:
    assert Month(2026, 12).next() == Month(2027, 1)
    assert Month(2027, 1).previous() == Month(2026, 12)
    assert Month(2026, 10) < Month(2026, 11) < Month(2027, 1)


def test_there_is_nothing_beyond_the_ends() -> None:
    with pytest.raises(BadMonth):
        Month(2999, 12).next()
    with pytest.raises(BadMonth):
        Month(1970, 1).previous()
    assert Month(2999, 12).last_day == date(2999, 12, 31)
    assert Month(2999, 12).span_utc(BERLIN)[1] == datetime(2999, 12, 31, 23, tzinfo=UTC)


def test_leap_day_is_the_last_of_february() -> None:
    assert Month(2028, 2).last_day == date(2028, 2, 29)
    assert Month(2100, 2).last_day == date(2100, 2, 28)
    assert Month(2026, 2).first_day == date(2026, 2, 1)


def test_span_holds_the_hour_that_autumn_gives_back() -> None:
    start, end = Month(2026, 10).span_utc(BERLIN)
    assert start == datetime(2026, 9, 30, 22, tzinfo=UTC)
    assert end == datetime(2026, 10, 31, 23, tzinfo=UTC)
    assert end - start == timedelta(days=31, hours=1)


def test_span_lacks_the_hour_that_spring_takes() -> None:
    start, end = Month(2026, 3).span_utc(BERLIN)
    assert end - start == timedelta(days=31, hours=-1)


def test_late_evening_of_the_last_day_belongs_to_that_month() -> None:
    late = datetime(2026, 10, 31, 23, 30, tzinfo=BERLIN)
    assert month_of(late, BERLIN) == Month(2026, 10)
    assert month_of(late.astimezone(UTC), BERLIN) == Month(2026, 10)
    assert month_of(datetime(2026, 10, 31, 23, 30, tzinfo=UTC), BERLIN) == Month(2026, 11)


def test_month_turns_at_local_midnight_exactly() -> None:
    turn = datetime(2026, 10, 31, 23, tzinfo=UTC)
    assert month_of(turn - timedelta(microseconds=1), BERLIN) == Month(2026, 10)
    assert month_of(turn, BERLIN) == Month(2026, 11)


def test_clock_set_back_over_midnight_still_splits_time_once() -> None:
    # St John's, 1 November 2009: 00:01 became 23:01 of 31 October (tz database, recomputed here).
    zone = ZoneInfo("America/St_Johns")
    start, _ = Month(2009, 11).span_utc(zone)
    again = start + timedelta(minutes=30)
    assert again.astimezone(zone).date() == date(2009, 10, 31)
    assert month_of(again, zone) == Month(2009, 11)
    assert month_of(start - timedelta(seconds=1), zone) == Month(2009, 10)


def test_moment_without_zone_is_refused() -> None:
    with pytest.raises(ValueError, match="time zone"):
        month_of(datetime(2026, 10, 1), BERLIN)  # noqa: DTZ001


@given(
    moment=st.datetimes(datetime(1971, 1, 1), datetime(2900, 1, 1), timezones=st.just(UTC)),  # noqa: DTZ001
    zone=st.sampled_from(ZONES),
)
def test_every_moment_lies_in_the_span_of_its_month(moment: datetime, zone: ZoneInfo) -> None:
    start, end = month_of(moment, zone).span_utc(zone)
    assert start <= moment < end


@given(year=st.integers(1971, 2998), number=st.integers(1, 12), zone=st.sampled_from(ZONES))
def test_spans_join_without_gap(year: int, number: int, zone: ZoneInfo) -> None:
    month = Month(year, number)
    assert month.span_utc(zone)[1] == month.next().span_utc(zone)[0]
    assert month.next().previous() == month
    assert Month.parse(str(month)) == month
