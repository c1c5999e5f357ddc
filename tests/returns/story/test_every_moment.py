"""The page of a request says nothing that its state contradicts, whatever the state is.

Constructed: each state is set in the rows, with no, one and two frames, and the page is read as its
customer reads it.
"""

from __future__ import annotations

import html
import itertools
import re
from datetime import timedelta
from typing import Any

import pytest
import time_machine
from django.contrib.auth.models import User
from django.test import Client

from returns.filing.rules import intake
from returns.filing.rules.intake import AskedFrame
from returns.models import Dispatch, Request, ReturnedFrame, WalkIn
from returns.partners import rules as partners
from returns.story.sums.states import REQUEST_STEPS, FrameState, RequestKind, RequestState
from tests.makers import NOON, Shop, key
from tests.returns.customer_makers import arrived, asked_screws, filing, sent_back

pytestmark = pytest.mark.django_db

F, R = FrameState, RequestState
LIVE = [state for state in F if state is not F.VOIDED]
# Words that only some states of the frame named in the same card may bear.
TRUE_OF: dict[str, set[FrameState]] = {
    "Next we look it over": {F.WEIGHED},
    "look at it once more": {F.HELD},
    "Next we mend it": {F.TO_MEND},
    "It is being mended": {F.MENDING},
    "Next we post it to you": {F.MENDED},
    "It is on its way to you": {F.POSTED},
    "Next we post it back to you as it is": {F.TO_RETURN},
    "It is on its way back to you as it is": {F.POSTED_AS_IS},
    "Next it is taken apart": {F.TO_STRIP},
    "waits in its box to be ground": {F.BOXED},
    "It becomes part of new frames": {F.GROUND},
    "was disposed of as waste": {F.DISCARDED},
    "Our promise: done by": {
        F.WEIGHED,
        F.HELD,
        F.TO_MEND,
        F.MENDING,
        F.MENDED,
        F.TO_STRIP,
        F.TO_RETURN,
    },
}
OF_THE_FILING = (
    "Print the slip",
    "I have posted it",
    "Withdraw the request",
    "Your parcel is here",
    "so the request rests",
)
GOES_BACK = {F.WEIGHED, F.HELD, F.TO_MEND, F.MENDING, F.MENDED, F.TO_RETURN}


def plain(markup: str) -> str:
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", markup)).split())


def page(client: Client, request: Request) -> str:
    with time_machine.travel(NOON, tick=False):
        answer = client.get(f"/story/{intake.link_secret(request)}/")
    assert answer.status_code == 200
    return str(answer.content.decode())


def frame_in(shop: Shop, request: Request, state: FrameState, number: int) -> ReturnedFrame:
    if number == 0:
        frame = arrived(shop, request, state=state.value, promised_by=NOON.date())
    else:
        frame = request.frames.get()
        frame.pk, frame.tag, frame.key = None, f"F-333{number}-3333", key()
        frame.state = state.value
        frame.save(force_insert=True)
    if state in (F.POSTED, F.POSTED_AS_IS):
        ReturnedFrame.objects.filter(pk=frame.pk).update(ended_at=NOON)
        kind = "mended" if state is F.POSTED else "as_is"
        Dispatch.objects.create(
            code=f"D-{number}", key=key(), kind=kind, frame=frame, posted_at=NOON
        )
    return frame


def assert_true_of(text: str, state: FrameState) -> None:
    for words, states in TRUE_OF.items():
        assert (words in text) == (state in states), (words, state)


@pytest.mark.parametrize("state", LIVE)
def test_one_frame(client: Client, shop: Shop, state: FrameState) -> None:
    request = sent_back(shop)
    frame_in(shop, request, state, 0)
    Request.objects.update(state="arrived")
    text = plain(page(client, request))
    assert_true_of(text, state)
    for words in OF_THE_FILING:
        assert words not in text, words
    address = {True: "Will go to", False: "Your address"}[state in GOES_BACK]
    is_gone = state in (F.POSTED, F.POSTED_AS_IS)
    assert ("Posted to" if is_gone else address) in text
    assert ("Posted to" in text) == is_gone


@pytest.mark.parametrize(("one", "other"), list(itertools.pairwise([*LIVE, LIVE[0]])))
def test_two_frames_have_a_card_each(
    client: Client, shop: Shop, one: FrameState, other: FrameState
) -> None:
    request = sent_back(shop)
    tags = {frame_in(shop, request, one, 0).tag: one, frame_in(shop, request, other, 1).tag: other}
    Request.objects.update(state="arrived")
    markup = page(client, request)
    cards = re.findall(r"<article class=\"card stack frame-card\">.*?</article>", markup, re.S)
    assert len(cards) == 2
    for card in cards:
        tag = re.search(r"F-[0-9A-Z]{4}-[0-9A-Z]{4}", card)
        assert tag is not None
        assert_true_of(plain(card), tags[tag[0]])
    # Every turn of a frame names it.
    for turn in re.findall(r"<li><time.*?</li>", markup, re.S):
        if "parcel from you" not in turn and "You told us" not in turn:
            assert re.search(r"F-[0-9A-Z]{4}-[0-9A-Z]{4}", turn), turn


@pytest.mark.parametrize("state", list(REQUEST_STEPS[RequestKind.SEND_BACK]))
@pytest.mark.parametrize("is_posted", [False, True])
def test_no_frame_yet(client: Client, shop: Shop, state: RequestState, is_posted: bool) -> None:
    request = sent_back(shop)
    ended = NOON if state in (R.SETTLED, R.WITHDRAWN, R.RESTING) else None
    sent = NOON if is_posted else None
    Request.objects.update(state=state.value, ended_at=ended, sent_at=sent)
    text = plain(page(client, request))
    waits = state is R.AWAITED
    assert ("Your turn" in text) == ((waits and not is_posted) or state is R.RESTING)
    assert ("You have posted it, as you told us" in text) == (waits and is_posted)
    assert ("Print the slip" in text) == (waits and not is_posted)
    assert ("Withdraw the request" in text) == waits
    assert ("Your parcel is here" in text) == (state is R.ARRIVED)
    assert ("so the request rests" in text) == (state is R.RESTING)
    assert ("Wake the request" in text) == (state is R.RESTING)
    assert ("This request has ended" in text) == (state is R.WITHDRAWN)
    assert ("This story is over" in text) == (state is R.SETTLED)
    assert ("Will go to" in text) == (state in (R.AWAITED, R.ARRIVED))
    assert "Posted to" not in text
    here = re.search(r"Where it stands: (.*?) (?:Your turn|What happens next)", text)
    assert here is not None
    assert (
        here[1]
        == {
            R.AWAITED: "On its way to us" if is_posted else "With you",
            R.ARRIVED: "Parcel is here",
            R.RESTING: "Rests",
            R.WITHDRAWN: "Ended",
            R.SETTLED: "Ended",
        }[state]
    )


@pytest.mark.parametrize("state", list(REQUEST_STEPS[RequestKind.SPARE_SCREWS]))
def test_spare_screws(client: Client, shop: Shop, state: RequestState) -> None:
    request = asked_screws(shop)
    is_gone = state in (R.POSTED, R.SETTLED, R.REPORTED_MISSING)
    if is_gone:
        Dispatch.objects.create(code="D-1", key=key(), kind="kit", request=request, posted_at=NOON)
    ended = NOON if state in (R.SETTLED, R.WITHDRAWN) else None
    Request.objects.update(state=state.value, ended_at=ended, posted_at=NOON if is_gone else None)
    text = plain(page(client, request))
    here = re.search(r"Where it stands: (.*?) What happens next", text)
    assert here is not None
    assert (
        here[1]
        == {
            R.WAITING_STOCK: "Asked",
            R.RESERVED: "Set aside",
            R.POSTED: "Posted",
            R.REPORTED_MISSING: "Posted",
            R.SETTLED: "With you",
            R.WITHDRAWN: "Withdrawn",
        }[state]
    )
    assert ("Posted to" in text) == is_gone
    assert ("Will go to" in text) == (state in (R.RESERVED, R.WAITING_STOCK))
    assert ("Next we post it" in text) == (state is R.RESERVED)
    assert ("You withdrew this request" in text) == (state is R.WITHDRAWN)
    assert ("Our promise" in text) == (state is R.RESERVED)


@pytest.mark.parametrize("state", [F.POSTED, F.POSTED_AS_IS])
def test_posted_long_ago_is_with_its_owner(client: Client, shop: Shop, state: FrameState) -> None:
    request = sent_back(shop)
    frame_in(shop, request, state, 0)
    ReturnedFrame.objects.update(ended_at=NOON - timedelta(days=100))
    text = plain(page(client, request))
    assert "This story is over." in text
    assert "Where it stands: With you again" in text
    assert "on its way" not in text.lower().replace("on its way to us", "").replace(
        "on its way home", ""
    ).replace("on its way back to you", "")


def test_thanks_name_the_email_only_while_they_are_fresh(client: Client, shop: Shop) -> None:
    request = sent_back(shop)
    text = plain(page(client, request))
    assert "Filed. Thank you." in text
    assert "We are sending the link to this page to wanda@example.org" in text
    Request.objects.update(filed_at=NOON - timedelta(hours=1))
    assert "Filed. Thank you." not in plain(page(client, request))


def test_a_workshop_without_mail_thanks_and_promises_none(
    client: Client, shop: Shop, settings: Any
) -> None:
    settings.MAIL_GOES_OUT = False
    text = plain(page(client, sent_back(shop)))
    assert "Filed. Thank you." in text
    assert "wanda@example.org. Is the email wrong" not in text
    assert "We are sending" not in text


NOT_HERE = {
    True: "this frame has not been weighed in yet",
    False: "You can still post it with the same slip",
}


@pytest.mark.parametrize("is_open", [True, False])
@pytest.mark.parametrize("state", LIVE)
def test_a_frame_that_lags_behind_has_its_own_card(
    client: Client, shop: Shop, state: FrameState, is_open: bool
) -> None:
    lagging = AskedFrame(shop.avocet_moss, "bridge", "cracked", "", "post_back", False)
    request = sent_back(shop, further=(lagging,))
    frame = frame_in(shop, request, state, 0)
    Request.objects.update(state="arrived")
    if not is_open:
        frame.parcel.__class__.objects.update(done_at=NOON, content="frames")
    markup = page(client, request)
    here, lacking = re.findall(
        r"<article class=\"card stack frame-card\">.*?</article>", markup, re.S
    )
    assert_true_of(plain(here), state)
    assert frame.tag in here
    assert "Frame 2" in plain(lacking)
    assert str(shop.avocet_moss) in plain(lacking)
    for is_opened, words in NOT_HERE.items():
        assert (words in plain(lacking)) == (is_opened == is_open)
    for words in TRUE_OF:
        assert words not in plain(lacking)


@pytest.mark.parametrize("state", [R.AWAITED, R.RESTING])
def test_several_frames_are_spoken_of_as_several(
    client: Client, shop: Shop, state: RequestState
) -> None:
    lagging = AskedFrame(None, "bridge", "cracked", "", "post_back", False)
    request = sent_back(shop, further=(lagging,))
    Request.objects.update(state=state.value)
    text = plain(page(client, request))
    assert ("in the parcel with your frames" in text) == (state is R.AWAITED)
    assert ("Your frames have not come" in text) == (state is R.RESTING)
    assert "your frame," not in text


OF_POSTING_TO_US = ("Print the slip", "Post it to", "I have posted it", "Send it along")


@pytest.mark.parametrize("state", LIVE)
def test_a_walk_in_never_speaks_of_posting_to_us(
    client: Client, shop: Shop, bea: User, state: FrameState
) -> None:
    request = sent_back(shop)
    WalkIn.objects.create(request=request, consent="screen", seen_by=bea, at=NOON)
    frame_in(shop, request, state, 0)
    Request.objects.update(state="arrived")
    text = plain(page(client, request))
    assert_true_of(text, state)
    for words in (*OF_THE_FILING, *OF_POSTING_TO_US):
        assert words not in text, words


BY_SLIP = {
    R.AWAITED: "Leave your frame, with the slip's other half, at Lantern Optics.",
    R.ARRIVED: "The box of Lantern Optics is here.",
    R.WITHDRAWN: "This request has ended.",
    R.RESTING: "so the request rests",
    R.SETTLED: "This story is over",
}


@pytest.mark.parametrize("state", list(REQUEST_STEPS[RequestKind.SEND_BACK]))
def test_a_slip_from_a_shop_at_every_state(
    client: Client, shop: Shop, olga: User, state: RequestState
) -> None:
    facts = {"at": NOON, "by": olga}
    shop_next_door = partners.add(key=key(), name="Lantern Optics", town="", **facts)
    partners.print_sheet(key=key(), partner=shop_next_door, count=1, **facts)
    slip = shop_next_door.slips.get()
    request = partners.file(key=key(), slip=slip, filing=filing(shop), at=NOON)
    ended = NOON if state in (R.SETTLED, R.WITHDRAWN, R.RESTING) else None
    Request.objects.update(state=state.value, ended_at=ended)
    text = plain(page(client, request))
    for one, words in BY_SLIP.items():
        assert (words in text) == (one is state), words
    for words in OF_POSTING_TO_US:
        assert words not in text, words
