"""The frame of every rule: one transaction, one event, and a repeat that is answered."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from datetime import datetime, timedelta
from threading import Barrier
from typing import Any
from uuid import UUID

import pytest
from django.contrib.auth.models import User
from django.db import IntegrityError, connection, connections

from inventory import events
from inventory.errors import BadInput, KeyReused, NotEnough, StaleState
from inventory.events import Draft
from inventory.models import Colour, Event
from tests.makers import NOON, key

pytestmark = pytest.mark.django_db


@events.rule(
    "test.paint",
    facts=lambda code, shade: [code, shade.strip()],
    again=lambda event: Colour.objects.get(pk=event.detail["id"]),
    aside=("remark",),
)
def paint(
    event: Draft,
    /,
    *,
    key: UUID,
    code: str,
    at: datetime,
    by: User | None,
    shade: str = "#4a5560",
    remark: str = "",
) -> Colour:
    """A rule such as any."""
    colour = Colour.objects.create(code=code, name=code, swatch=shade.strip())
    if remark == "too late":
        raise BadInput
    if remark != "no event":
        event.of(f"colour-{code}", id=colour.pk, remark=remark)
    return colour


def test_event_says_who_did_what_when_and_under_which_key(bea: User) -> None:
    one = key()
    colour = paint(key=one, code="slate", at=NOON, by=bea, remark="first")
    event = Event.objects.get(key=one)
    assert (event.name, event.subject) == ("test.paint", "colour-slate")
    assert (event.at, event.actor) == (NOON, bea)
    assert event.detail == {"id": colour.pk, "remark": "first"}
    assert event.fingerprint == events.fingerprint(["slate", "#4a5560"])


def test_repeat_is_answered_whoever_sends_it_and_when(bea: User) -> None:
    one = key()
    colour = paint(key=one, code="slate", at=NOON, by=bea)
    later = NOON + timedelta(hours=1)
    assert paint(key=one, code="slate", at=later, by=None, remark="again") == colour
    assert (Colour.objects.count(), Event.objects.count()) == (1, 1)


@pytest.mark.parametrize("other", [{"code": "moss"}, {"shade": "#000000"}])
def test_other_content_under_the_same_key_is_refused(other: dict[str, str]) -> None:
    one = key()
    paint(key=one, code="slate", at=NOON, by=None)
    with pytest.raises(KeyReused):
        paint(**({"key": one, "code": "slate", "at": NOON, "by": None} | other))  # type: ignore[arg-type]


def test_key_of_another_rule_is_refused() -> None:
    one = key()
    events.record(key=one, name="test.other", subject="x", facts=["slate", "#4a5560"], at=NOON)
    with pytest.raises(KeyReused):
        paint(key=one, code="slate", at=NOON, by=None)


def test_refused_rule_leaves_nothing_and_its_key_is_free() -> None:
    one = key()
    with pytest.raises(BadInput):
        paint(key=one, code="slate", at=NOON, by=None, remark="too late")
    assert (Colour.objects.count(), Event.objects.count()) == (0, 0)
    paint(key=one, code="slate", at=NOON, by=None)


def test_rule_that_names_no_event_is_undone() -> None:
    with pytest.raises(RuntimeError, match=r"test\.paint"):
        paint(key=key(), code="slate", at=NOON, by=None, remark="no event")
    assert not Colour.objects.exists()


def test_rule_that_changed_nothing_says_so_and_writes_no_event() -> None:
    @events.rule("test.idle", facts=lambda: ["idle"], again=lambda: "again")
    def idle(event: Draft, /, *, key: UUID, at: datetime) -> str:
        event.drop()
        return "idle"

    assert idle(key=key(), at=NOON) == "idle"
    assert not Event.objects.exists()


@pytest.mark.parametrize("error", [IntegrityError, StaleState, NotEnough, KeyReused])
def test_slower_of_two_hands_gets_the_answer_of_the_faster(error: type[Exception]) -> None:
    """What the faster hand wrote is seen only when the slower one fails on it."""
    one, failed = key(), []

    @events.rule("test.race", facts=lambda code: [code], again=lambda event: event.subject)
    def race(event: Draft, /, *, key: UUID, code: str, at: datetime) -> str:
        failed.append(code)
        raise error

    with pytest.raises(error):
        race(key=one, code="slate", at=NOON)
    real = Event.objects.filter

    def look(**asked: Any) -> Any:
        """From the second failure on, the row of the faster hand is committed."""
        if len(failed) == 2 and not real(**asked).exists():
            events.record(key=one, name="test.race", subject="faster", facts=["slate"], at=NOON)
        return real(**asked)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Event.objects, "filter", look)
        assert race(key=one, code="slate", at=NOON) == "faster"
    assert len(failed) == 2


@pytest.mark.django_db(transaction=True)
def test_one_key_in_many_hands_is_one_event() -> None:
    one, start = key(), Barrier(4)

    def send(_number: int) -> int:
        try:
            start.wait()
            return paint(key=one, code="slate", at=NOON, by=None).pk
        finally:
            connections.close_all()

    with ThreadPoolExecutor(4) as pool:
        answers = set(pool.map(send, range(4)))
    assert len(answers) == 1
    assert (Colour.objects.count(), Event.objects.count()) == (1, 1)


def test_argument_that_is_in_no_fingerprint_is_refused_when_the_rule_is_written() -> None:
    def body(event: Draft, /, *, key: UUID, code: str, shade: str, at: datetime) -> None:
        """Never runs."""

    with pytest.raises(TypeError, match=r"not in the fingerprint: \['shade'\]"):
        events.rule("test.gap", facts=lambda code: [code], again=lambda: None)(body)
    with pytest.raises(TypeError, match=r"no such argument: \['colour'\]"):
        events.rule(
            "test.gap", facts=lambda code, shade: [code, shade], again=lambda colour: colour
        )(body)


@pytest.mark.django_db(transaction=True)
def test_event_without_a_rule_locks_the_chain_in_a_transaction_of_its_own(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A letter that was sent was sent again and again: its event failed on PostgreSQL."""
    seen: list[bool] = []
    link = events.chain.link_event

    def looked(event: Event) -> None:
        seen.append(connection.in_atomic_block)
        link(event)

    monkeypatch.setattr(events.chain, "link_event", looked)
    events.record(key=key(), name="letters.send", subject="Q", facts=[], at=NOON)
    assert seen == [True]
    assert Event.objects.filter(name="letters.send").exists()
