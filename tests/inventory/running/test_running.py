"""What the owner's desk says of the running of the service itself."""

from __future__ import annotations

import re
from datetime import datetime, timedelta

import pytest
from django.contrib.auth.models import User
from django.test import Client

from inventory.running import pages as running
from inventory.running.queries import copies
from inventory.running.queries.copies import Failed, Proved
from tests.inventory.month_makers import furnished_october
from tests.makers import NOON, Shop

pytestmark = pytest.mark.django_db


def proved(at: datetime) -> None:
    copies.note_proved(Proved(at, "/copies/hingeback-1.tar.gz", 10))


def alarms(client: Client) -> list[str]:
    page = client.get("/desk/").content.decode()
    found = re.findall(r'<li class="notice notice-bad">(.*?)</li>', page, re.DOTALL)
    return [re.sub(r"<[^>]+>", "", one) for one in found]


@pytest.mark.parametrize(("hours", "is_red"), [(47, False), (48, False), (49, True)])
def test_the_last_proved_copy_is_shown_and_turns_red_after_two_days(
    client: Client, olga: User, hours: int, is_red: bool
) -> None:
    proved(NOON - timedelta(hours=hours) + timedelta(minutes=5))
    client.force_login(olga)
    assert "hingeback-1.tar.gz" in client.get("/desk/").content.decode()
    assert any("proved copy" in one for one in alarms(client)) is is_red


def test_a_workshop_without_any_copy_turns_red_two_days_after_its_first_entry(shop: Shop) -> None:
    furnished_october(shop)
    since = copies.standing().since
    assert since is not None
    (young,) = [n for n in running.notes(since + timedelta(days=2)) if "copy" in n.text]
    (old,) = [n for n in running.notes(since + timedelta(days=2, seconds=1)) if "copy" in n.text]
    assert not young.is_alarm
    assert old.is_alarm


def test_a_failed_copy_says_why_until_the_next_is_proved(client: Client, olga: User) -> None:
    proved(NOON - timedelta(days=3))
    copies.note_failed(Failed(NOON, "There is no pg_dump here."))
    client.force_login(olga)
    assert any("no pg_dump here" in one for one in alarms(client))
    proved(NOON)
    assert alarms(client) == []


def test_nothing_is_said_of_copies_before_anything_was_entered() -> None:
    assert [note for note in running.notes(NOON) if "copy" in note.text] == []
