"""The story as its owner reads it."""

from __future__ import annotations

from typing import Any

import pytest
from django.contrib.auth.models import User

from inventory import deeds
from inventory.models import Lot
from returns import intake, kits
from returns.models import BenchCheck, Dispatch, Grading, RepairJob, Request
from returns.queries import story
from returns.sums.states import REQUEST_STEPS, FrameState, RequestKind, RequestState
from tests.makers import NOON, Shop, key
from tests.returns.customer_makers import arrived, asked_screws, sent_back

pytestmark = pytest.mark.django_db


def texts(request: Request) -> list[str]:
    return [turn.text for turn in story.of(request).turns]


def test_kits_whole_way_is_told_in_order(shop: Shop, bea: User) -> None:
    request = asked_screws(shop)
    kits.post(key=key(), request=request, at=NOON, by=bea)
    intake.report_missing(key=key(), request=request, at=NOON)
    told = texts(request)
    assert told[0] == "You asked for spare screws."
    assert set(told) == {
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
    told = " ".join(texts(request))
    for words in ("arrived", "F-2222-2222", "can be mended", "began", "passed", "posted to you"):
        assert words in told
    assert "bea" not in told


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
    frame = arrived(shop, request, state="ground", boxed_mg=19_400, lot=lot)
    deeds.record(key=key(), name="regrind.ground", subject=frame.tag, facts=[], at=NOON)
    assert "L-2222-2222" in texts(request)[-1]


def test_weigh_in_that_was_undone_is_not_told(shop: Shop) -> None:
    request = sent_back(shop)
    arrived(shop, request, state="voided")
    assert "weighed" not in " ".join(texts(request))


@pytest.mark.parametrize("state", [s for s in FrameState if s is not FrameState.VOIDED])
def test_every_frame_state_has_a_station_and_a_next(shop: Shop, state: FrameState) -> None:
    request = sent_back(shop)
    arrived(shop, request, state=state.value)
    told = story.of(request)
    assert told.next
    assert 2 <= told.station < len(told.stations)


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
    told = story.of(request)
    assert told.next
    assert 0 <= told.station < len(told.stations)
