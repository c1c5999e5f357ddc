"""Several frames in one request, from the form without scripts to the scale."""

from __future__ import annotations

import html
import re
from dataclasses import replace
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.db import IntegrityError, transaction
from django.test import Client

from inventory.errors import BadInput, KeyReused
from inventory.models import Workshop
from returns.arriving import rules as arriving
from returns.arriving.rules import WeighIn
from returns.customers import rules as people
from returns.filing.queries import frames
from returns.filing.rules import intake, photos
from returns.filing.rules.intake import FRAMES_MAX, AskedFrame
from returns.letters.texts import Occasion, compose
from returns.models import FurtherFrame, Request, ReturnedFrame
from tests.makers import NOON, Shop, key
from tests.returns.customer_makers import filing, screws, sent_back
from tests.returns.filing.test_customer_filing import typed, upload

pytestmark = pytest.mark.django_db


def asked(shop: Shop, **changes: Any) -> AskedFrame:
    plain = AskedFrame(
        colourway=shop.avocet_moss,
        component="bridge",
        defect="cracked",
        note="The other pair.",
        wish="post_back",
        lenses_back=True,
    )
    return replace(plain, **changes)


def two(shop: Shop, **changes: Any) -> Request:
    return sent_back(shop, further=(asked(shop, **changes),))


def block(shop: Shop, number: int = 2, **changes: Any) -> dict[str, Any]:
    plain = {
        "colourway": shop.avocet_slate.pk,
        "component": "bridge",
        "defect": "cracked",
        "note": "The other pair.",
        "wish": "post_back",
        "lenses_back": "no",
    } | changes
    named = {f"f{number}-{name}": value for name, value in plain.items() if value is not None}
    return named


def plain(markup: str) -> str:
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", markup)).split())


# Filing


def test_every_frame_is_kept_with_all_that_was_said_of_it(shop: Shop) -> None:
    request = two(shop, more=(("front", "scuffed"),))
    first, second = frames.of(request)
    assert (first.number, first.wish, first.troubles) == (1, "regrind", (("arm_left", "snapped"),))
    assert (second.number, second.words, second.wish) == (2, str(shop.avocet_moss), "post_back")
    assert second.troubles == (("bridge", "cracked"), ("front", "scuffed"))
    assert (second.note, second.lenses_back) == ("The other pair.", True)


@pytest.mark.parametrize(
    ("further", "fits"), [(FRAMES_MAX - 2, True), (FRAMES_MAX - 1, True), (FRAMES_MAX, False)]
)
def test_the_limit_of_frames(shop: Shop, further: int, fits: bool) -> None:
    asking = filing(shop, further=(asked(shop),) * further)
    if not fits:
        with pytest.raises(BadInput):
            intake.file_return(key=key(), filing=asking, at=NOON)
        assert not Request.objects.exists()
        return
    request = intake.file_return(key=key(), filing=asking, at=NOON)
    assert len(frames.of(request)) == further + 1


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"component": "nose"}, "component"),
        ({"defect": "sad"}, "defect"),
        ({"wish": ""}, "wish"),
        ({"note": "x" * 501}, "note"),
        ({"note": "\x00"}, "note"),
        ({"more": (("bridge", "cracked"),)}, ""),
    ],
)
def test_a_fault_names_its_frame(shop: Shop, changes: dict[str, Any], field: str) -> None:
    with pytest.raises(BadInput) as refused:
        two(shop, **changes)
    assert refused.value.message.startswith("Frame 2: ")
    assert (refused.value.field, refused.value.facts["number"]) == (field, 2)
    assert not Request.objects.exists()


def test_a_repeat_says_the_same_of_every_frame(shop: Shop) -> None:
    same, asking = key(), filing(shop, further=(asked(shop),))
    request = intake.file_return(key=same, filing=asking, at=NOON)
    assert intake.file_return(key=same, filing=asking, at=NOON) == request
    for other in (filing(shop), filing(shop, further=(asked(shop, wish="regrind"),))):
        with pytest.raises(KeyReused):
            intake.file_return(key=same, filing=other, at=NOON)
    assert FurtherFrame.objects.count() == 1


def test_a_kit_is_for_one_frame(shop: Shop) -> None:
    with pytest.raises(BadInput):
        intake.ask_screws(key=key(), filing=screws(shop, further=(asked(shop),)), at=NOON)


@pytest.mark.parametrize("changes", [{"number": 1}, {"wish": ""}, {"number": 2}])
def test_the_database_refuses_what_no_frame_is(shop: Shop, changes: dict[str, Any]) -> None:
    facts = {"number": 3, "component": "front", "defect": "snapped", "wish": "regrind"} | changes
    request = two(shop)
    with pytest.raises(IntegrityError), transaction.atomic():
        FurtherFrame.objects.create(request=request, **facts)


# The form


def test_two_frames_are_filed_from_one_form(client: Client, shop: Shop) -> None:
    sent = typed(shop) | {"frame": ["2"], "photos": [upload()]} | block(shop)
    answer = client.post("/ask/return/", sent | {"f2-photos": [upload(), upload("b.jpg")]})
    request = Request.objects.get()
    assert answer["Location"] == f"/story/{intake.link_secret(request)}/"
    assert [one.wish for one in frames.of(request)] == ["regrind", "post_back"]
    assert sorted(request.photos.values_list("number", flat=True)) == [1, 2, 2]
    page = plain(client.get(answer["Location"]).content.decode())
    assert "Frame 2 Frame Avocet" in page
    assert "You told us that 2 frames are coming back." in page
    assert "The other pair." in page


def test_adding_a_frame_keeps_everything_and_files_nothing(client: Client, shop: Shop) -> None:
    half = typed(shop, wish="", street="", note="Half typed") | {"photos": [upload()]}
    page = client.post("/ask/return/?send", half | {"add_frame": "1"}).content.decode()
    assert not Request.objects.exists()
    assert 'name="frame" value="2"' in page
    assert 'name="f2-component"' in page
    assert "Half typed" in page
    assert "Photos that we have already" in page
    assert "error-summary" not in page
    assert "aria-invalid" not in page


def test_a_frame_taken_out_takes_its_photos_along(client: Client, shop: Shop) -> None:
    sent = typed(shop) | {"frame": ["2", "3"]} | block(shop) | block(shop, 3, note="The third")
    photographed = sent | {"f2-photos": [upload()], "f3-photos": [upload("c.jpg", None)]}
    page = client.post("/ask/return/", photographed | {"drop_frame": "2"}).content.decode()
    assert 'name="f2-note"' not in page
    assert "The third" in page
    # The one that stays is the second frame now, for who reads it.
    assert "Take frame 2 out again" in page
    left = typed(shop, key=sent["key"]) | {"frame": ["3"]} | block(shop, 3, note="The third")
    client.post("/ask/return/", left)
    request = Request.objects.get()
    assert [one.note for one in frames.of(request)][1] == "The third"
    assert list(request.photos.values_list("number", flat=True)) == [2]


def test_errors_name_the_frame_and_nothing_is_lost(client: Client, shop: Shop) -> None:
    sent = typed(shop) | {"frame": ["2"], "f2-photos": [upload()]}
    page = client.post("/ask/return/", sent | block(shop, component=None)).content.decode()
    assert 'href="#id_f2-component_0">Frame 2, Where is it broken: Choose the part' in page
    assert "The other pair." in page
    assert 'id="f2drop-1"' in page
    assert not Request.objects.exists()
    client.post("/ask/return/", typed(shop, key=sent["key"]) | {"frame": ["2"]} | block(shop))
    assert Request.objects.get().photos.get().number == 2


@pytest.mark.parametrize("sent", [["x"], ["1"], ["-2"], ["999"], ["2", "2"], ["٢"]])
def test_odd_numbers_of_frames_are_no_frames(client: Client, shop: Shop, sent: list[str]) -> None:
    answer = client.post("/ask/return/", typed(shop) | block(shop) | {"frame": sent})
    assert answer.status_code == 302
    assert len(frames.of(Request.objects.get())) == (2 if sent == ["2", "2"] else 1)


def test_no_more_frames_than_fit_are_offered(client: Client, shop: Shop) -> None:
    numbers = [str(number) for number in range(2, FRAMES_MAX + 4)]
    page = client.post("/ask/return/", typed(shop) | {"frame": numbers}).content.decode()
    assert page.count('type="hidden" name="frame"') == FRAMES_MAX - 1
    assert 'name="add_frame"' not in page


def test_a_second_frame_makes_it_no_twin_and_no_screw(client: Client, shop: Shop) -> None:
    loose = typed(shop, component="screw_left", defect="loose_screw")
    both = loose | {"frame": ["2"]} | block(shop)
    assert client.post("/ask/return/", both).status_code == 302
    again = client.post("/ask/return/", both | {"key": key()})
    assert "You have filed this already" in again.content.decode()
    other = both | block(shop, note="Not that one") | {"key": key()}
    assert client.post("/ask/return/", other).status_code == 302


# What the customer is told


def test_the_first_letter_and_the_slip_list_all_frames(client: Client, shop: Shop) -> None:
    request = two(shop)
    letter = compose("filed", Occasion(request, None, Workshop.the()))
    text = "\n".join(letter.paragraphs)
    assert letter.subject.startswith("We await your frames")
    assert f"2 frames back: 1. {shop.avocet_slate}; 2. {shop.avocet_moss}" in text
    assert f"Frame 2: {shop.avocet_moss}\nWhat is wrong: bridge: cracked somewhere else" in text
    assert "If it cannot be mended: post it back to me as it is" in text
    answer = client.get(f"/story/{intake.link_secret(request)}/slip.pdf")
    assert answer.content.startswith(b"%PDF")


def test_later_letters_name_the_frame_that_they_are_about(shop: Shop, bea: User) -> None:
    request = two(shop)
    second = weighed(shop, request, bea, colourway=shop.avocet_moss)

    def text(letter: str, frame: ReturnedFrame | None) -> str:
        return "\n".join(compose(letter, Occasion(request, frame, Workshop.the())).paragraphs)

    about = f"This is about frame 2: {shop.avocet_moss}, with the tag {second.tag}."
    assert text("held", second).startswith(about)
    assert f"Its tag is {second.tag}." in text("arrived", second)
    first = weighed(shop, request, bea, colourway=shop.avocet_slate)
    assert f"Their tags are {second.tag}, {first.tag}." in text("arrived", second)
    assert f"({shop.avocet_slate}; {shop.avocet_moss})" in text("reminder", None)
    alone = sent_back(shop)
    assert "This is about frame" not in "".join(
        compose("held", Occasion(alone, None, Workshop.the())).paragraphs
    )


def test_a_copy_and_an_erasure_reach_every_frame(shop: Shop) -> None:
    request = two(shop)
    person = intake.person_of(request)
    (filed,) = people.export(person)["requests"]
    assert filed["further_frames"][0]["note"] == "The other pair."
    assert filed["troubles"] == []
    intake.withdraw(key=key(), request=request, at=NOON)
    people.erase(key=key(), person=person, at=NOON)
    assert FurtherFrame.objects.get().note == ""


# On the scale


def weighed(shop: Shop, request: Request, by: User, **changes: Any) -> ReturnedFrame:
    parcel = request.parcels.first() or arriving.book(key=key(), request=request, at=NOON, by=by)
    facts: dict[str, Any] = {"scale": shop.fine_scale, "mass": "24.30", "cleaned": True}
    weighing = WeighIn(**facts | {"request": request, "reason": "it is light"} | changes)
    return arriving.weigh_in(key=key(), parcel=parcel, weighing=weighing, at=NOON, by=by)


def test_model_and_colour_tell_whose_wish_it_is(shop: Shop, bea: User) -> None:
    request = two(shop)
    second = weighed(shop, request, bea, colourway=shop.avocet_moss)
    first = weighed(shop, request, bea, colourway=shop.avocet_slate)
    assert (first.number, first.wish, first.lenses_back) == (1, "regrind", False)
    assert (second.number, second.wish, second.lenses_back) == (2, "post_back", True)


def test_two_alike_with_different_wishes_are_asked_for(shop: Shop, bea: User) -> None:
    request = two(shop, colourway=shop.avocet_slate)
    with pytest.raises(BadInput) as refused:
        weighed(shop, request, bea, colourway=shop.avocet_slate)
    assert refused.value.field == "number"
    assert not ReturnedFrame.objects.exists()
    frame = weighed(shop, request, bea, colourway=shop.avocet_slate, number=2)
    assert (frame.number, frame.wish) == (2, "post_back")
    # The other one alone is left.
    assert weighed(shop, request, bea, colourway=shop.avocet_slate).number == 1


@pytest.mark.parametrize("number", [0, 3])
def test_a_number_that_the_request_does_not_name_is_refused(
    shop: Shop, bea: User, number: int
) -> None:
    with pytest.raises(BadInput) as refused:
        weighed(shop, two(shop), bea, colourway=shop.avocet_slate, number=number)
    assert refused.value.field == "number"


def test_two_alike_with_one_wish_need_no_answer(shop: Shop, bea: User) -> None:
    changes = {"colourway": shop.avocet_slate, "wish": "regrind", "lenses_back": False}
    request = two(shop, **changes)
    frames_here = [weighed(shop, request, bea, colourway=shop.avocet_slate) for _ in range(2)]
    assert [frame.number for frame in frames_here] == [1, 2]


def test_a_frame_that_nobody_can_tell_gets_no_wish_but_its_lenses(shop: Shop, bea: User) -> None:
    request = two(shop, colourway=shop.avocet_slate, lenses_back=False)
    parcel = arriving.book(key=key(), request=None, at=NOON, by=bea)
    facts: dict[str, Any] = {"scale": shop.fine_scale, "mass": "24.30", "cleaned": True}
    weighing = WeighIn(**facts, colourway=shop.avocet_slate, reason="it is light")
    frame = arriving.weigh_in(key=key(), parcel=parcel, weighing=weighing, at=NOON, by=bea)
    told = arriving.assign(key=key(), frame=frame, request=request, at=NOON, by=bea)
    assert (told.wish, told.lenses_back) == ("", True)


def test_the_bench_is_asked_which_one_it_is(client: Client, shop: Shop, bea: User) -> None:
    request = two(shop, colourway=shop.avocet_slate)
    parcel = arriving.book(key=key(), request=request, at=NOON, by=bea)
    client.force_login(bea)
    page = client.get(f"/bench/parcel/{parcel.code}/").content.decode()
    assert "Which of the frames filed" in page
    sent = {
        "key": key(),
        "scale": shop.fine_scale.pk,
        "mass": "24.30",
        "reason": "it is light",
        "cleaned": "on",
        "colourway": shop.avocet_slate.pk,
        "request": request.reference,
        "mends_before": "0",
    }
    refused = client.post(f"/bench/parcel/{parcel.code}/", sent)
    assert refused.status_code == 422
    assert "Say which one this is." in refused.content.decode()
    client.post(f"/bench/parcel/{parcel.code}/", sent | {"number": "2"})
    assert ReturnedFrame.objects.get().number == 2
    look = client.get(f"/bench/frame/{ReturnedFrame.objects.get().tag}/look/").content.decode()
    assert "The other pair." in look
    assert "It fell off the table." not in look


def test_photos_are_counted_by_frame(shop: Shop) -> None:
    request = two(shop)
    of_second = [photos.Picture(b"jpeg", 1, 1, number=2)] * photos.PHOTOS_MAX
    photos.keep(request=request, pictures=of_second, at=NOON)
    photos.keep(request=request, pictures=[photos.Picture(b"jpeg", 1, 1)], at=NOON)
    with pytest.raises(BadInput):
        photos.keep(request=request, pictures=of_second[:1], at=NOON)


# The API


def body(shop: Shop, **changes: Any) -> dict[str, Any]:
    facts = typed(shop) | {"colourway": "avocet/slate", "lenses_back": True, "notice": "1"}
    del facts["key"]
    return facts | changes


def further(**changes: Any) -> dict[str, Any]:
    return {
        "colourway": None,
        "component": "bridge",
        "defect": "cracked",
        "wish": "post_back",
        "troubles": [{"component": "front", "defect": "warped"}],
    } | changes


def test_the_api_takes_several_frames_and_old_bodies(client: Client, shop: Shop) -> None:
    def post(sent: dict[str, Any]) -> Any:
        headers = {"Idempotency-Key": str(key())}
        return client.post("/api/send-backs/", sent, "application/json", headers=headers)

    assert post(body(shop)).status_code == 201
    answer = post(body(shop, further_frames=[further()]))
    assert answer.status_code == 201, answer.content
    story = client.get("/api/story/", headers={"Story-Secret": answer.json()["secret"]}).json()
    assert [one["number"] for one in story["filed_frames"]] == [1, 2]
    assert story["filed_frames"][1]["troubles"][1] == {"component": "front", "defect": "warped"}
    refused = post(body(shop, further_frames=[further(component="nose")]))
    assert refused.status_code == 400
    assert "Frame 2" in refused.content.decode()
    too_many = post(body(shop, further_frames=[further()] * FRAMES_MAX))
    assert too_many.status_code == 400
