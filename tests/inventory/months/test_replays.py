"""A month's postings are read and followed once in a request, however many figures need them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any

import pytest
import time_machine
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse

from inventory.models import Movement
from inventory.months import rules as months
from inventory.months.queries import recovered
from inventory.months.queries.replays import moved, replayed
from inventory.months.reports.files import FORMATS
from inventory.weighing.sums.traced import Replay
from tests.inventory.ledger.written import booked
from tests.inventory.month_makers import (
    DEC_2,
    NOV,
    furnished_october,
    stripped,
    weighed_in,
)
from tests.makers import Shop, key

pytestmark = pytest.mark.django_db

SEP = datetime(2026, 9, 9, 9, tzinfo=UTC)


@pytest.fixture(autouse=True)
def _early_december() -> Iterator[None]:
    with time_machine.travel(DEC_2, tick=False):
        yield


@pytest.fixture
def books(shop: Shop) -> Shop:
    """October furnished, one frame in November."""
    furnished_october(shop)
    weighed_in("F-BBBB-3333", 18_300, at_=NOV)
    stripped(shop, "F-BBBB-3333", "18.300 g", at_=NOV)
    return shop


@pytest.fixture
def walks(monkeypatch: pytest.MonkeyPatch) -> Counter[frozenset[int]]:
    """How often the same movements were walked through."""
    found: Counter[frozenset[int]] = Counter()
    plain = Replay.follow

    def counted(walk: Replay, steps: Any, marks: Any = ()) -> None:
        listed = list(steps)
        found[frozenset(step.key[0] for step in listed)] += 1
        plain(walk, listed, marks)

    monkeypatch.setattr(Replay, "follow", counted)
    return found


def opened_page(client: Client, acke: User, name: str, *args: object) -> str:
    client.force_login(acke)
    response = client.get(reverse(name, args=args))
    assert response.status_code == 200
    return response.content.decode()


@pytest.mark.parametrize("closed", [0, 2, 3])
def test_month_page_follows_each_month_once(
    books: Shop, client: Client, acke: User, walks: Counter[frozenset[int]], closed: int
) -> None:
    """Open months lead up to each other and are not followed again for the one after them."""
    for label in ("2026-08", "2026-09", "2026-10")[:closed]:
        months.close(key=key(), label=label, at=DEC_2, by=None)
    walks.clear()
    opened_page(client, acke, "month", "2026-11")
    assert len(walks) == {0: 3, 2: 2, 3: 2}[closed]  # September has no movement
    assert set(walks.values()) == {1}


@pytest.mark.edge
@pytest.mark.parametrize("name", ["csv", "postings", "xlsx", "json", "pdf"])
def test_every_file_follows_its_month_once(
    books: Shop, walks: Counter[frozenset[int]], name: str
) -> None:
    for label in ("2026-08", "2026-09"):
        months.close(key=key(), label=label, at=DEC_2, by=None)
    walks.clear()
    FORMATS[name].make(recovered.of_month("2026-10"))
    assert walks.total() == 1


@pytest.mark.parametrize("name", ["month-report", "month-close"])
def test_other_pages_of_a_month_follow_it_once_at_most(
    books: Shop, client: Client, acke: User, walks: Counter[frozenset[int]], name: str
) -> None:
    opened_page(client, acke, name, "2026-10")
    assert not walks or set(walks.values()) == {1}


def test_a_close_follows_its_month_once(books: Shop, walks: Counter[frozenset[int]]) -> None:
    months.close(key=key(), label="2026-08", at=DEC_2, by=None)
    assert walks.total() == 1


def test_months_together_give_what_each_gives_alone(books: Shop) -> None:
    labels = ("2026-08", "2026-10", "2026-11")
    together = replayed(labels)
    for label in labels:
        alone = replayed([label])[label]
        assert recovered.of_month(label, together[label]) == recovered.of_month(label, alone)
        data = [(entry, mass.known()) for entry, mass in alone.moved]
        assert [(entry, mass.known()) for entry, mass in together[label].moved] == data


@pytest.mark.parametrize("closed", [0, 2])
def test_queries_do_not_grow_with_the_months(
    books: Shop, django_assert_num_queries: Any, closed: int
) -> None:
    """Months closed, months booked, reversals of earlier months, places, postings, readings,
    strip-downs and what they left, runs; and the snapshots, if there are any."""
    weighed_in("F-CCCC-4444", 18_300, at_=SEP)
    stripped(books, "F-CCCC-4444", "18.300 g", at_=SEP)
    for label in ("2026-08", "2026-09")[:closed]:
        months.close(key=key(), label=label, at=DEC_2, by=None)
    asked = 10 if closed else 9
    with django_assert_num_queries(asked):
        moved(["2026-10"])
    with django_assert_num_queries(asked):
        moved(["2026-08", "2026-09", "2026-10", "2026-11"])


def test_nothing_is_asked_for_no_month(django_assert_num_queries: Any) -> None:
    with django_assert_num_queries(0):
        assert moved([]) == {}


def test_movements_page_and_answer_ask_as_much_for_many_months(
    books: Shop, client: Client, acke: User, django_assert_max_num_queries: Any
) -> None:
    client.force_login(acke)
    for address in (reverse("movements"), reverse("api-movements")):
        client.get(address)  # what the process keeps is read before
        with django_assert_max_num_queries(40) as one:
            client.get(address, {"month": "2026-10"})
        weighed_in("F-CCCC-4444", 18_300, at_=SEP)
        with django_assert_max_num_queries(len(one) + 1):  # the parts of another month, by name
            response = client.get(address)
        assert response.status_code == 200


def test_a_reversal_said_to_have_been_before_what_it_takes_back_is_followed(shop: Shop) -> None:
    """Its month begins with itself: looking for the later one, the plan would never end."""
    number = Movement.objects.latest("number").number + 2
    told = booked(f"""
        2026-11-14 opening: unexplained -> box 900 mg
        2026-11-15 opening: unexplained -> box 500 mg
        2026-10-15 reverse #{number}: typed twice
    """)
    assert f"#{number + 1}" in told
    found = replayed(["2026-10", "2026-11"])
    assert [len(found[label].entries) for label in ("2026-10", "2026-11")] == [1, 2]
