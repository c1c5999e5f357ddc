"""The story as its owner reads it."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.contrib.auth.models import User

from inventory import events
from inventory.errors import StaleState
from inventory.models import Lot
from returns.filing.rules import intake
from returns.kits import queries as kit_stock
from returns.kits.rules import kits
from returns.models import (
    BenchCheck,
    Dispatch,
    Grading,
    JobStep,
    RepairJob,
    Request,
    ReturnedFrame,
)
from returns.models.catalogue import ComponentKey
from returns.story.queries import story
from returns.story.sums.states import REQUEST_STEPS, FrameState, RequestKind, RequestState
from tests.makers import NOON, Shop, key
from tests.returns.customer_makers import arrived, asked_screws, heaped, sent_back
from tests.returns.workroom_makers import mended

pytestmark = pytest.mark.django_db


def texts(request: Request) -> list[str]:
    return [turn.text for turn in story.of(request, at=NOON).turns]


def test_kits_whole_way_is_told_in_order(shop: Shop, bea: User) -> None:
    request = asked_screws(shop)
    kits.post(key=key(), request=request, at=NOON, by=bea)
    intake.report_missing(key=key(), request=request, at=NOON)
    data = texts(request)
    assert data[0] == "You asked for spare screws."
    assert set(data) == {
        "You asked for spare screws.",
        "The kit was posted to you.",
        "You told us that the kit never came.",
    }


def test_mended_frames_way_is_told(shop: Shop, bea: User) -> None:
    request = sent_back(shop)
    frame = arrived(shop, request, state="posted")
    grading = Grading.objects.create(
        frame=frame, computed="repair", decided="repair", sums={}, at=NOON, by=bea
    )
    job = RepairJob.objects.create(frame=frame, grading=grading, opened_at=NOON, opened_by=bea)
    BenchCheck.objects.create(
        job=job,
        closes_freely=True,
        screw_flush=True,
        lens_held=True,
        no_sharp_edge=True,
        at=NOON,
        by=bea,
    )
    Dispatch.objects.create(code="D-1", key=key(), kind="mended", frame=frame, posted_at=NOON)
    data = " ".join(texts(request))
    for words in ("arrived", "F-2222-2222", "can be mended", "began", "passed", "posted to you"):
        assert words in data
    assert "bea" not in data


def test_ground_frame_names_mass_and_lot(shop: Shop) -> None:
    request = sent_back(shop)
    lot = Lot.objects.create(
        code="L-2222-2222",
        polymer=shop.pp,
        colour=shop.slate,
        origin="post_consumer_return",
        heat=[[3, 1_000_000]],
        made_at=NOON,
    )
    frame = heaped(arrived(shop, request, state="ground", boxed_mg=19_400, lot=lot), lot)
    events.record(key=key(), name="regrind.ground", subject=frame.tag, facts=[], at=NOON)
    assert "L-2222-2222" in texts(request)[-1]


def test_weigh_in_that_was_undone_is_not_told(shop: Shop) -> None:
    request = sent_back(shop)
    arrived(shop, request, state="voided")
    assert "weighed" not in " ".join(texts(request))


@pytest.mark.parametrize("state", [s for s in FrameState if s is not FrameState.VOIDED])
def test_every_frame_state_has_a_station_and_a_next(shop: Shop, state: FrameState) -> None:
    request = sent_back(shop)
    arrived(shop, request, state=state.value)
    data = story.of(request, at=NOON)
    assert data.next
    assert 2 <= data.station < len(data.stations)


def posted_frame(shop: Shop, state: str) -> Request:
    """A send-back whose frame was posted at NOON."""
    request = sent_back(shop)
    frame = arrived(shop, request, state=state)
    ReturnedFrame.objects.filter(pk=frame.pk).update(ended_at=NOON)
    Dispatch.objects.create(code="D-1", key=key(), kind="mended", frame=frame, posted_at=NOON)
    return request


@pytest.mark.parametrize("state", ["posted", "posted_as_is"])
def test_a_frame_can_be_reported_missing_only_for_a_while(shop: Shop, state: str) -> None:
    request = posted_frame(shop, state)
    over = NOON + kit_stock.SETTLED_AFTER
    last = over - timedelta(microseconds=1)
    assert intake.may_report_missing(request, at=last)
    assert "on its way" in story.of(request, at=last).next
    assert not intake.may_report_missing(request, at=over)
    assert story.of(request, at=over).next == "This story is over."
    with pytest.raises(StaleState, match="45 days"):
        intake.report_missing(key=key(), request=request, at=over)
    intake.report_missing(key=key(), request=request, at=last)
    assert not intake.may_report_missing(request, at=last)
    assert "looks into it" in story.of(request, at=last).next


def test_a_kit_can_be_reported_missing_only_for_a_while(shop: Shop, bea: User) -> None:
    request = asked_screws(shop)
    kits.post(key=key(), request=request, at=NOON, by=bea)
    over = NOON + kit_stock.SETTLED_AFTER
    last = over - timedelta(microseconds=1)
    assert intake.may_report_missing(request, at=last)
    assert not intake.may_report_missing(request, at=over)
    assert "This story is over" in story.of(request, at=over).next
    with pytest.raises(StaleState, match="45 days"):
        intake.report_missing(key=key(), request=request, at=over)
    intake.report_missing(key=key(), request=request, at=last)


@pytest.mark.parametrize(
    ("kind", "state"),
    [(kind, state) for kind, steps in REQUEST_STEPS.items() for state in steps],
)
def test_every_request_state_has_a_station_and_a_next(
    shop: Shop, kind: RequestKind, state: RequestState
) -> None:
    maker: Any = asked_screws if kind is RequestKind.SPARE_SCREWS else sent_back
    request = maker(shop)
    request.state = state.value
    data = story.of(request, at=NOON)
    assert data.next
    assert 0 <= data.station < len(data.stations)


@pytest.mark.parametrize(
    ("states", "keys", "at"),
    [
        (["mending"], "bench post home", "bench"),
        (["posted"], "bench post home", "post"),
        (["to_strip"], "apart flake loop", "look"),
        (["boxed"], "apart flake loop", "apart"),
        (["posted_as_is"], "post home", "post"),
        (["discarded"], "waste", "waste"),
        (["weighed"], "fork loop", "scale"),
        (["posted", "mending"], "bench post home", "bench"),
        (["posted", "ground"], "fork loop", "loop"),
        (["posted", "weighed"], "fork loop", "scale"),
    ],
)
def test_way_forks_with_the_decision(shop: Shop, states: list[str], keys: str, at: str) -> None:
    request = sent_back(shop)
    for number, state in enumerate(states):
        frame = arrived(shop, request, state=state) if not number else None
        if frame is None:
            first = request.frames.get()
            first.pk, first.tag, first.key, first.state = None, "F-3333-3333", key(), state
            first.save(force_insert=True)
    way = story.of(request, at=NOON).way
    assert [station.key for station in way.stations][4:] == keys.split()
    assert way.stations[way.at].key == at


@pytest.mark.parametrize("state", ["weighed", "mending", "mended", "to_return"])
def test_promise_is_told_while_something_is_owed(shop: Shop, state: str) -> None:
    request = sent_back(shop)
    frame = arrived(shop, request, state=state)
    assert story.of(request, at=NOON).promised_by == frame.promised_by


@pytest.mark.parametrize("state", ["posted", "ground", "posted_as_is", "boxed"])
def test_nothing_is_promised_once_it_is_done(shop: Shop, state: str) -> None:
    request = sent_back(shop)
    arrived(shop, request, state=state)
    assert story.of(request, at=NOON).promised_by is None


def test_what_was_mended_is_told_by_part(shop: Shop, bea: User) -> None:
    frame = mended(shop, bea)
    assert frame.request is not None
    data = story.of(frame.request, at=NOON).mended
    step = JobStep.objects.get(job__frame=frame)
    assert [one.component for one in data] == [ComponentKey(step.component).label]
    assert [str(one.work) for one in data] == ["polished"]
