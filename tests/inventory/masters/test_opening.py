"""Promises count past public holidays and the workshop's own closing days."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.test import Client

from inventory.masters import queries, sums
from inventory.models import Workshop
from tests.makers import key

XMAS = datetime(2026, 12, 23, 9, 0, tzinfo=UTC)


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("2026-12-24", [("2026-12-24", "2026-12-24")]),
        ("24.12.2026 - 3.1.2027", [("2026-12-24", "2027-01-03")]),
        ("2.1.2027 to 3.1.2027\n\n 1.5.2026 ", [("2026-05-01",) * 2, ("2027-01-02", "2027-01-03")]),
        ("24.12.2026 bis 24.12.2026", [("2026-12-24", "2026-12-24")]),
        ("2026-01-01 – 2027-01-01", [("2026-01-01", "2027-01-01")]),
    ],
)  # fmt: skip
def test_days_are_read_as_people_type_them(text: str, found: Any) -> None:
    told = [(first.isoformat(), last.isoformat()) for first, last in sums.spans(text)]
    assert told == found


@pytest.mark.parametrize(
    "text", ["Christmas", "2026-02-30", "3.1.2027 - 24.12.2026", "2026-01-01 - 2027-01-02", "4.2."]
)  # fmt: skip
def test_what_is_no_span_is_named(text: str) -> None:
    with pytest.raises(sums.BadSpan) as refused:
        sums.spans(f"2026-05-01\n{text}")
    assert refused.value.line == text


def test_sixty_lines_are_taken_and_one_more_is_not() -> None:
    assert len(sums.spans("2026-05-01\n" * sums.SPANS_MAX)) == sums.SPANS_MAX
    with pytest.raises(sums.BadSpan):
        sums.spans("2026-05-01\n" * (sums.SPANS_MAX + 1))


def test_closed_days_do_not_count() -> None:
    closed = {date(2026, 12, 25), date(2026, 12, 26)}
    start = date(2026, 12, 23)
    told = [sums.promised(start, days, closed.__contains__).day for days in (0, 1, 2, 3)]
    assert told == [23, 24, 27, 28]


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("facts", "day"),
    [
        # 25 and 26 December and 1 January are kept in all of Germany, 6 January in Bavaria: laws
        # of the Länder on Sundays and holidays, from memory.
        ({}, date(2026, 12, 28)),
        ({"keeps_holidays": False}, date(2026, 12, 26)),
        ({"country": "XX"}, date(2026, 12, 26)),
        ({"closed_days": [["2026-12-24", "2027-01-03"]]}, date(2027, 1, 6)),
        ({"closed_days": [["2026-12-24", "2027-01-03"]], "holiday_region": "BY"}, date(2027, 1, 7)),
    ],
)
def test_the_promised_day_is_counted_past_them(facts: Any, day: date) -> None:
    Workshop.the()
    Workshop.objects.update(**facts)
    assert queries.promised_day(Workshop.the(), XMAS, 3) == day


@pytest.mark.django_db
def test_the_owner_enters_them_and_reads_them_again(client: Client, olga: User) -> None:
    client.force_login(olga)
    form = {"key": str(key()), "keeps_holidays": "on", "holiday_region": "BY"}
    form |= {"closed_days": "24.12.2026 - 3.1.2027"}
    assert client.post("/owner/setup/opening/", form).status_code == 302
    assert Workshop.the().closed_days == [["2026-12-24", "2027-01-03"]]
    assert "2026-12-24 - 2027-01-03" in client.get("/owner/setup/opening/").content.decode()
    for wrong in ({"closed_days": "never"}, {"holiday_region": "QQ"}):
        refused = client.post("/owner/setup/opening/", form | {"key": str(key())} | wrong)
        assert refused.status_code == 400
        assert next(iter(wrong)) in refused.context["form"].errors
