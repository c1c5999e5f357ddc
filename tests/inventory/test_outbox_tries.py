"""A message is tried for five days, then waits for a person who has it tried again."""

from __future__ import annotations

from datetime import datetime, timedelta
from itertools import pairwise
from typing import Any

import pytest
import time_machine
from django.conf import settings as set_here
from django.contrib.auth.models import User

from inventory import outbox
from inventory.models import OutboxMessage
from tests.makers import NOON, key

pytestmark = pytest.mark.django_db
SWEEP_EVERY = set_here.CELERY_BEAT_SCHEDULE["sweep-letters"]["schedule"]


class Away:
    """A handler of which the test says whether it works."""

    works = False

    def __call__(self, _message: OutboxMessage) -> None:
        if not self.works:
            raise OSError("refused")


@pytest.fixture
def away(settings: Any, monkeypatch: pytest.MonkeyPatch) -> Away:
    handler = Away()
    monkeypatch.setattr("tests.inventory.test_outbox_tries.handle", handler, raising=False)
    settings.OUTBOX_HANDLERS = {"letter": "tests.inventory.test_outbox_tries.handle"}
    return handler


def owed() -> OutboxMessage:
    return outbox.enqueue(topic="letter", subject="Q", at=NOON)


def tried_until_given_up(message: OutboxMessage) -> list[datetime]:
    """The moments of its tries, each as soon as it is due."""
    tries = []
    while True:
        message.refresh_from_db()
        if message.given_up_at:
            return tries
        with time_machine.travel(message.available_at, tick=False):
            assert outbox.due(message.available_at) == [message.pk]
            assert outbox.settle(message.pk, at=message.available_at) is False
            tries.append(message.available_at)


@pytest.mark.slow
def test_a_server_that_is_away_is_tried_for_five_days_at_least_hourly(away: Away) -> None:
    tries = tried_until_given_up(owed())
    assert timedelta(days=5) <= tries[-1] - tries[0] < timedelta(days=6)
    waits = [later - earlier for earlier, later in pairwise(tries)]
    assert max(waits) <= timedelta(minutes=72)
    assert waits[0] <= timedelta(seconds=12)
    assert len(tries) == outbox.TRIES_MAX


def test_once_the_server_is_back_the_letter_goes_out_by_itself(away: Away) -> None:
    message = owed()
    for _try in range(8):
        message.refresh_from_db()
        with time_machine.travel(message.available_at, tick=False):
            outbox.settle(message.pk, at=message.available_at)
    away.works = True
    message.refresh_from_db()
    with time_machine.travel(message.available_at, tick=False):
        assert outbox.settle(message.pk, at=message.available_at) is True


@pytest.mark.slow
def test_what_was_given_up_is_tried_again_for_as_long_once_a_person_says_so(
    away: Away, olga: User
) -> None:
    message = owed()
    first = tried_until_given_up(message)
    asked, later = key(), first[-1] + timedelta(days=9)
    for expected in (1, 0):
        again = outbox.try_again(key=asked, messages=[message.pk], at=later, by=olga)
        assert again == expected
    second = tried_until_given_up(message)
    assert second[0] == later
    assert len(second) == len(first)


def test_a_settled_message_and_one_in_hand_are_left_alone(away: Away, olga: User) -> None:
    done, held = owed(), owed()
    away.works = True
    assert outbox.settle(done.pk, at=NOON)
    OutboxMessage.objects.filter(pk=held.pk).update(
        claimed_until=NOON + timedelta(minutes=10), tries=3
    )
    again = outbox.try_again(key=key(), messages=[done.pk, held.pk], at=NOON, by=olga)
    held.refresh_from_db()
    assert (again, held.tries) == (0, 3)


def killed(message: OutboxMessage, at: datetime) -> datetime:
    """A worker takes the message and is killed. Returns the first moment when it is free again."""
    assert outbox._claim(message.pk, at)
    return at + outbox.LEASE + timedelta(seconds=1)


@pytest.mark.parametrize("deaths", [outbox.LOST_MAX - 1, outbox.LOST_MAX])
def test_a_message_that_kills_its_worker_each_time_is_given_up_soon(
    away: Away, deaths: int
) -> None:
    message, at = owed(), NOON
    for _death in range(deaths):
        at = killed(message, at)
    assert outbox.due(at) == [message.pk]
    away.works = True
    assert outbox.settle(message.pk, at=at) is (deaths < outbox.LOST_MAX)
    message.refresh_from_db()
    assert (message.given_up_at is not None) is (deaths == outbox.LOST_MAX)
    assert ("Unanswered" in message.last_error) is (deaths == outbox.LOST_MAX)


def test_what_killed_its_workers_may_be_asked_anew(away: Away, olga: User) -> None:
    message, at = owed(), NOON
    for _death in range(outbox.LOST_MAX):
        at = killed(message, at)
    outbox.settle(message.pk, at=at)
    assert outbox.try_again(key=key(), messages=[message.pk], at=at, by=olga) == 1
    away.works = True
    assert outbox.settle(message.pk, at=at)


def test_what_a_killed_worker_held_is_free_within_ninety_seconds() -> None:
    longest_wait = outbox.LEASE + SWEEP_EVERY
    assert longest_wait <= timedelta(seconds=90)
