"""A part that comes later joins its frame, in the books and on the story page.

Masses are those of the furnished Avocet: 24 820 mg whole, an arm 4 100 mg and its screw 110 mg.
"""

from __future__ import annotations

from typing import Any

import pytest
from django.contrib.auth.models import User
from django.test import Client

from inventory.errors import BadInput, StaleState, WrongScan
from inventory.ledger.queries import balances
from inventory.models import PlaceKind
from returns.arriving import rules as arriving
from returns.bench.queries.frames import whereabouts
from returns.joining import rules
from returns.joining.rules import PartIn
from returns.models import LaterPart, Parcel, Request, ReturnedFrame
from returns.story.queries import story
from tests import furnished
from tests.api.callers import machine, refused
from tests.makers import NOON, Shop, key
from tests.returns import workroom_makers
from tests.returns.bench_makers import booked, on_shelf
from tests.returns.customer_makers import sent_back
from tests.returns.regrind.test_stripdown import parts, strip, to_strip

pytestmark = pytest.mark.django_db

WITHOUT_ARM, ARM = "20,720", "4,100"


@pytest.fixture
@furnished.once
def frame(shop: Shop, bea: User) -> ReturnedFrame:
    found = on_shelf(shop, bea, sent_back(shop), mass=WITHOUT_ARM)
    arriving.finish(key=key(), parcel=found.parcel, at=NOON, by=bea)
    return found


def join(shop: Shop, by: User, frame: ReturnedFrame, **changes: Any) -> LaterPart:
    facts = {
        "parcel": changes.pop("parcel", None) or booked(by, frame.request),
        "frame": frame,
        "scanned": frame.tag,
        "scale": shop.fine_scale,
        "mass": ARM,
        "cleaned": True,
        "component": "arm_left",
    }
    return rules.join(key=key(), part=PartIn(**(facts | changes)), at=NOON, by=by)


def mass_mg(frame: ReturnedFrame) -> int:
    return sum(whereabouts(frame.tag).values())


def test_the_part_is_the_frames_from_then_on(shop: Shop, bea: User, frame: ReturnedFrame) -> None:
    assert "missing" in frame.massfit["verdict"]
    part = join(shop, bea, frame)
    assert mass_mg(frame) == 24_820
    assert ReturnedFrame.objects.get().massfit["verdict"] == "complete"
    arriving.finish(key=key(), parcel=part.parcel, at=NOON, by=bea)
    assert Parcel.objects.get(pk=part.parcel_id).content == "parts"
    texts = [turn.text for turn in story.of(Request.objects.get(), at=NOON).turns]
    assert "A part that you sent later joined it." in texts
    assert not any("No frame" in text for text in texts)


def test_it_goes_to_where_the_frame_lies(shop: Shop, bea: User) -> None:
    frame = workroom_makers.graded(shop, bea, workroom_makers.POLISH)
    join(shop, bea, frame, mass="0,110", component="screw_left", reason="a second screw")
    there = next(iter(whereabouts(frame.tag)))
    assert balances.held_mg(subject=frame.tag, kind=PlaceKind(there.kind)) == mass_mg(frame)
    assert len(whereabouts(frame.tag)) == 1


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"cleaned": False}, "cleaned"),
        ({"mass": "0"}, "mass"),
        ({"mass": "abc"}, "mass"),
        ({"component": "knee"}, "component"),
        ({"mass": "40"}, "reason"),
        ({"scanned": ""}, "scanned"),
    ],
)
def test_what_is_wrong_is_named(
    shop: Shop, bea: User, frame: ReturnedFrame, changes: dict[str, Any], field: str
) -> None:
    with pytest.raises(BadInput) as slip:
        join(shop, bea, frame, **changes)
    assert slip.value.field == field
    assert mass_mg(frame) == 20_720


def test_another_frames_tag_is_refused(shop: Shop, bea: User, frame: ReturnedFrame) -> None:
    other = on_shelf(shop, bea)
    with pytest.raises(WrongScan):
        join(shop, bea, frame, scanned=other.tag)


def test_taken_out_again_and_undone_with_its_weigh_in(
    shop: Shop, bea: User, frame: ReturnedFrame
) -> None:
    part = join(shop, bea, frame)
    rules.take_out(key=key(), part=part, reason="another's", at=NOON, by=bea)
    assert mass_mg(frame) == 20_720
    with pytest.raises(StaleState):
        rules.take_out(key=key(), part=part, reason="again", at=NOON, by=bea)
    join(shop, bea, frame, parcel=part.parcel)
    arriving.unweigh(key=key(), frame=frame, reason="wrong slip", at=NOON, by=bea)
    assert mass_mg(frame) == 0


@pytest.mark.parametrize(
    ("state", "words"),
    [
        ("ground", "ground already"),
        ("mended", "Put the part beside it"),
        ("posted", "not in the house"),
        ("posted_as_is", "by itself"),
        ("discarded", "by itself"),
    ],
)
def test_too_late_it_says_what_to_do(
    shop: Shop, bea: User, frame: ReturnedFrame, state: str, words: str
) -> None:
    ReturnedFrame.objects.filter(pk=frame.pk).update(state=state)
    with pytest.raises(StaleState, match=words):
        join(shop, bea, frame)


def test_in_its_box_the_strip_down_is_undone_first(shop: Shop, bea: User) -> None:
    frame = strip(to_strip(shop, bea), parts(shop), bea)
    with pytest.raises(StaleState, match="Undo the strip-down first"):
        join(shop, bea, frame)


def test_page_and_api_join_and_take_out(
    shop: Shop, bea: User, frame: ReturnedFrame, client: Client
) -> None:
    client.force_login(bea)
    parcel = booked(bea, frame.request)
    page = f"/bench/parcel/{parcel.code}/part/"
    assert client.get(page).status_code == 200
    body = {"key": key(), "scanned": "F-2222-2222", "mass": ARM, "scale": shop.fine_scale.pk}
    body |= {"cleaned": "on", "component": "arm_left"}
    assert client.post(page, body).status_code == 422
    assert client.post(page, body | {"scanned": frame.tag}).status_code == 302
    part = LaterPart.objects.get()
    out = f"{page}{part.pk}/out/"
    assert client.post(out, {"key": key(), "reason": ""}).status_code == 422
    assert client.post(out, {"key": key(), "reason": "another's"}).status_code == 302
    assert mass_mg(frame) == 20_720
    bench = machine(bea, "bench", "read")
    told = {"frame": frame.tag, "scanned": frame.tag, "scale": "Fine scale", "mass": ARM}
    path = f"parcels/{parcel.code}/later-parts/"
    refused(bench.post(path, told | {"cleaned": False}), 400, "bad-input")
    assert bench.post(path, told | {"cleaned": True}).json()["mass_mg"] == 4_100
