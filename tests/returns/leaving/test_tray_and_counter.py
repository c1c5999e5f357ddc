"""What leaves by the tray, many in one go, and what is handed over at the counter."""

from __future__ import annotations

from typing import Any

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse

from inventory.errors import StaleState, WrongScan
from inventory.models import Movement, OutboxMessage, Workshop
from returns.filing.rules import intake
from returns.leaving import rules as leaving
from returns.letters.texts import Occasion, compose
from returns.mending.rules import mending
from returns.models import Dispatch, Request, ReturnedFrame
from returns.story.queries import story
from returns.story.sums.states import FrameState, RequestState
from tests.api.callers import machine, refused
from tests.makers import NOON, Shop, key
from tests.returns.customer_makers import asked_screws
from tests.returns.regrind.test_stripdown import parts, strip, to_strip
from tests.returns.workroom_makers import PASS, POLISH, do, graded, mended, opened, weigh_out

pytestmark = pytest.mark.django_db


@pytest.fixture
def desk(client: Client, bea: User) -> Client:
    client.force_login(bea)
    return client


def letters() -> list[str]:
    rows = OutboxMessage.objects.filter(topic="letter").order_by("pk")
    return [one.payload["letter"] for one in rows]


def now(frame: ReturnedFrame) -> ReturnedFrame:
    return ReturnedFrame.objects.get(pk=frame.pk)


def hand_over(frame: ReturnedFrame, by: User, **changes: Any) -> Dispatch:
    facts: dict[str, Any] = {"key": key(), "frame": frame, "scanned": frame.tag, "at": NOON}
    return leaving.hand_over_frame(**facts | {"by": by} | changes)


def tray(desk: Client, *frames: ReturnedFrame, **changes: Any) -> Any:
    data = {"key": key(), "scans": "\n".join(frame.tag for frame in frames)}
    return desk.post(reverse("kits"), data | changes)


def test_a_frame_handed_over_never_was_in_the_post(shop: Shop, bea: User) -> None:
    frame = mended(shop, bea)
    same = key()
    given = hand_over(frame, bea, key=same)
    assert hand_over(frame, bea, key=same) == given
    assert (given.at_counter, given.kind, now(frame).state) == (True, "mended", FrameState.POSTED)
    # In the books it left as one that is posted does: mended, and not as it was.
    assert Movement.objects.get(kind="post_frame", reason="mended").subject == frame.tag
    request = Request.objects.get()
    assert request.state == RequestState.SETTLED
    assert "handed_over" in letters()
    told = story.of(request, at=NOON)
    assert told.next == "This story is over."
    turns = [turn.text for turn in told.turns]
    assert "You collected the mended frame at our counter." in turns
    assert told.station == len(told.stations) - 1
    assert told.address == "Your address"
    assert not intake.may_report_missing(request, at=NOON)
    letter = words("handed_over", now(frame))
    assert "Put it on and look before you rely on it" in letter
    assert "in the post" not in letter


def test_another_frames_tag_hands_nothing_over(shop: Shop, bea: User) -> None:
    frame, other = mended(shop, bea), graded(shop, bea, state=FrameState.TO_RETURN)
    with pytest.raises(WrongScan):
        hand_over(frame, bea, scanned=other.tag)
    hand_over(other, bea)
    with pytest.raises(StaleState):
        hand_over(other, bea)
    assert Dispatch.objects.get().kind == Dispatch.Kind.AS_IS


def test_a_kit_and_lenses_are_handed_over_as_well(shop: Shop, bea: User, desk: Client) -> None:
    kit = asked_screws(shop)
    data = {"key": key(), "action": "hand-over"}
    assert desk.post(reverse("kit", args=[kit.reference]), data).status_code == 302
    fresh = Request.objects.get(pk=kit.pk)
    assert (fresh.state, fresh.ended_at is not None) == (RequestState.SETTLED, True)
    assert not intake.may_report_missing(fresh, at=NOON)
    frame = strip(to_strip(shop, bea, lenses_back=True), parts(shop), bea)
    data = {"key": key(), "scanned": frame.tag, "way": "counter"}
    assert desk.post(reverse("post-lenses", args=[frame.tag]), data).status_code == 302
    assert set(Dispatch.objects.values_list("kind", "at_counter")) == {
        ("kit", True),
        ("lenses", True),
    }


def test_programs_hand_over_too(shop: Shop, bea: User) -> None:
    frame, bench = mended(shop, bea), machine(bea, "bench")
    path = f"frames/{frame.tag}/collections/"
    for _again in range(2):
        made = bench.post(path, {"scanned": frame.tag}, key="hand-to-hand")
        assert (made.status_code, made.json()["at_counter"]) == (201, True)
    refused(bench.post(path, {"scanned": frame.tag}), 409, "stale-state")


def test_a_tray_is_posted_in_one_go(shop: Shop, bea: User, desk: Client) -> None:
    kit, frame = asked_screws(shop), mended(shop, bea)
    lenses = strip(to_strip(shop, bea, lenses_back=True), parts(shop), bea)
    same = {"key": key(), "kits": [kit.reference]}
    for _again in range(2):
        answer = tray(desk, frame, lenses, **same)
        assert answer.status_code == 302, answer.content.decode()
    kinds = Dispatch.objects.order_by("kind").values_list("kind", flat=True)
    assert list(kinds) == ["kit", "lenses", "mended"]
    said = desk.get(reverse("kits")).content.decode()
    assert "3 are in the post." in said


def test_what_a_tray_cannot_post_is_named_and_holds_up_no_other(
    shop: Shop, bea: User, desk: Client
) -> None:
    frame, early = mended(shop, bea), graded(shop, bea)
    answer = tray(desk, frame, early)
    text = answer.content.decode()
    assert answer.status_code == 200  # something went
    assert f"{early.tag}: This frame is not to be posted now." in text
    assert (now(frame).state, now(early).state) == (FrameState.POSTED, FrameState.TO_MEND)
    # Only what is left stands there to be sent again.
    assert f">\n{early.tag}</textarea>" in text
    assert tray(desk).status_code == 422
    assert Dispatch.objects.count() == 1


def test_one_that_is_collected_is_told_so_and_not_listed_to_be_posted(
    shop: Shop, bea: User, desk: Client
) -> None:
    frame = graded(shop, bea, state=FrameState.TO_RETURN)
    Request.objects.update(collects=True)
    request = Request.objects.get()
    assert story.of(request, at=NOON).next == "You can collect it at our counter, as it is."
    assert story.of(request, at=NOON).address == "Your address"
    page = desk.get(reverse("kits")).content.decode()
    assert "To be collected at the counter" in page
    assert frame.tag in page.partition("To be collected at the counter")[2]


def test_who_collects_hears_when_it_is_ready(shop: Shop, bea: User) -> None:
    frame = graded(shop, bea, POLISH)
    Request.objects.update(collects=True)
    job = opened(frame, bea)
    do(job, bea)
    mending.check(key=key(), job=job, check=PASS, at=NOON, by=bea)
    assert "ready" not in letters()
    weigh_out(job, shop, bea, "24.800 g")
    assert "ready" in letters()
    letter = words("ready", now(frame))
    assert "You can collect it at our counter." in letter
    assert shop.workshop.address.splitlines()[0] in letter


def words(name: str, frame: ReturnedFrame) -> str:
    assert frame.request is not None
    letter = compose(name, Occasion(frame.request, frame, Workshop.the()))
    return "\n".join(letter.paragraphs)


@pytest.mark.parametrize("odd", ["\x00", "Q-0000-0000", "x" * 400, "²"])
def test_a_tray_of_nonsense_is_refused_and_posts_nothing(desk: Client, odd: str) -> None:
    for data in ({"kits": [odd]}, {"scans": odd}):
        answer = desk.post(reverse("kits"), {"key": key(), **data})
        assert answer.status_code == 422
    assert not Dispatch.objects.exists()
