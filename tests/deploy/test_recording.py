"""The recorded demo is what playing writes, and stays in order when it is shifted."""

from __future__ import annotations

from contextlib import suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.apps import apps
from django.contrib.auth.models import User
from django.db import connection, transaction
from hypothesis import given
from hypothesis import strategies as some

from deploy.demo import play, recording
from deploy.demo.shift import Shift
from inventory.models import Month as ClosedMonth
from inventory.models import Movement
from inventory.months.queries import audit
from inventory.months.sums.calendar_month import Month
from returns.filing.rules import intake
from returns.models import Request

ZONE = ZoneInfo("Europe/Berlin")
MARCH, FEBRUARY = Month(2026, 3), Month(2027, 2)
RENEW = "Record the demo anew: manage.py loaddemo --record, in an empty workshop"


class Undone(Exception):
    """Rolls back what was written."""


def rows() -> dict[str, list[Any]]:
    """Everything in the database but what migrations wrote, and what hangs on the server's key."""
    found = {}
    for model in apps.get_models():
        if model._meta.app_label in {"inventory", "returns", "auth"}:
            left_out = {"link_hash", "password"}
            names = [one.attname for one in model._meta.concrete_fields]
            kept = [name for name in names if name not in left_out]
            found[model._meta.label] = list(
                model._default_manager.order_by("pk").values_list(*kept)
            )
    return found


def again(now: datetime, folder: Path) -> play.Played:
    return play.play_again(told=recording.kept(), now=now, logins_file=folder / "logins.txt")


def recorded(month: Month) -> tuple[recording.Recording, dict[str, list[Any]]]:
    """A recording made now, and the rows that it was made of, which are gone again."""
    with suppress(Undone), transaction.atomic():
        told, played = play.record(month), rows()
        raise Undone
    return told, played


@pytest.mark.slow
# A whole year is played: a minute of processor, which on a shared machine may be many of the clock.
@pytest.mark.timeout(1200)
@pytest.mark.django_db
@pytest.mark.skipif(connection.vendor != "sqlite", reason="it is recorded on SQLite")
def test_what_is_kept_is_of_this_code_and_telling_gives_the_rows_of_playing(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    kept = recording.kept()
    month = Month(*kept.month)
    told, played = recorded(month)
    assert told.columns == kept.columns, RENEW
    assert told.statements == kept.statements, RENEW
    # Codes are drawn, and not in the same order in every process: as many writes, not the same.
    assert len(told.entries) == len(kept.entries), RENEW
    # Told again without a shift, closings included, it comes to the same rows.
    monkeypatch.setattr(play._Story, "end", lambda *_arguments: None)
    end = play.Calendar(month, ZONE).moment(month.last_day, 23, 59)
    play.play_again(told=told, now=end, logins_file=Path() / "logins.txt")
    assert {name for name, found in rows().items() if found != played[name]} == set()


@pytest.mark.django_db
@pytest.mark.skipif(connection.vendor != "sqlite", reason="it is recorded on SQLite")
def test_a_shifted_demo_keeps_the_books_and_opens_its_links(tmp_path: Path) -> None:
    """The 29th of February, late: the month is short, and its last night is all but over."""
    told = again(datetime(2028, 2, 29, 22, 30, tzinfo=UTC), tmp_path)
    assert told.closed == [f"2027-{number:02}" for number in range(2, 13)] + ["2028-01"]
    assert [str(one) for one in audit.check() if not one.ok] == []
    assert not Movement.objects.filter(happened_at__gt="2028-02-29T22:30Z").exists()
    request = Request.objects.order_by("pk")[0]
    assert intake.by_secret(intake.link_secret(request)) == request
    assert {person.has_usable_password() for person in User.objects.all()} == {True}
    assert "olga" in (tmp_path / "logins.txt").read_text()


@pytest.mark.django_db
@pytest.mark.skipif(connection.vendor != "sqlite", reason="it is recorded on SQLite")
def test_tables_that_held_rows_before_do_not_put_the_story_out(tmp_path: Path) -> None:
    with connection.cursor() as cursor:
        for table in ("inventory_grindrun", "inventory_batch", "returns_request"):
            cursor.execute("DELETE FROM sqlite_sequence WHERE name = %s", [table])
            cursor.execute("INSERT INTO sqlite_sequence (name, seq) VALUES (%s, 7)", [table])
    told = again(datetime(2027, 3, 15, 22, 30, tzinfo=UTC), tmp_path)
    assert len(told.closed) == play.CLOSED_MONTHS
    assert Request.objects.order_by("pk")[0].pk == 1


@pytest.mark.django_db
def test_a_recording_of_other_tables_is_refused_and_the_demo_is_played() -> None:
    kept = recording.kept()
    kept.columns["inventory_movement"].append("colour_of_the_sky")
    with pytest.raises(recording.Unfit):
        play.play_again(told=kept, now=datetime(2026, 3, 3, tzinfo=UTC), logins_file=Path())
    assert not ClosedMonth.objects.exists()


@pytest.mark.parametrize(
    ("text", "moved"),
    [
        ("2026-03-31", "2027-02-28"),
        ("2026-02", "2027-01"),
        ("2026-03-31 22:30:00", "2027-02-28 23:30:00"),  # April already, by the workshop's clock
        ("2026-02-28 23:00:00.123456", "2027-01-31 23:00:00.123456"),
        ('{"at": "2026-03-02T08:00:00+00:00"}', '{"at": "2027-02-02T08:00:00+00:00"}'),
        ("GOMO-2603", "GOMO-2702"),
        ("Q-7KDM-3XQ9 and 0a2026-03", "Q-7KDM-3XQ9 and 0a2026-03"),
        ("6f9619ff-8b86-2026-03ff-00cf4fc964ff", "6f9619ff-8b86-2026-03ff-00cf4fc964ff"),
    ],
)
def test_a_text_is_shifted_by_its_dates(text: str, moved: str) -> None:
    assert Shift(MARCH, FEBRUARY, ZONE).text(text) == moved


# Nothing in the story happens at the hours that the clocks skip or repeat.
HOURS = some.tuples(some.integers(0, 400), some.integers(4, 23), some.integers(0, 59))
MOMENTS = HOURS.map(
    lambda one: datetime(2025, 3, 1, one[1], one[2], tzinfo=UTC) + timedelta(days=one[0])
)


@given(MOMENTS, MOMENTS, some.integers(1, 12))
def test_a_shift_never_turns_two_moments_round(one: datetime, two: datetime, number: int) -> None:
    shift = Shift(MARCH, Month(2027, number), ZONE)
    first, second = sorted((one, two))
    assert shift.moment(first) <= shift.moment(second)
