"""Somebody stands at the counter: one page, one press, a receipt."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest
import time_machine
from django.contrib.auth.models import User
from django.test import Client

from inventory.errors import BadInput, KeyReused
from inventory.models import Event, Movement, OutboxMessage, Workshop
from returns.arriving.rules import WeighIn
from returns.counter import rules as counter
from returns.filing.rules import intake
from returns.filing.rules.intake import Filing
from returns.letters.texts import Occasion, compose
from returns.models import Parcel, Request, ReturnedFrame, Terms, WalkIn
from tests.makers import NOON, Shop, key
from tests.returns.customer_makers import WANDA, filing

pytestmark = pytest.mark.django_db


def taken(shop: Shop, by: User, **changes: Any) -> WalkIn:
    facts: dict[str, Any] = {
        "key": key(),
        "filing": filing(shop),
        "weighing": weighed(shop),
        "consent": "screen",
        "at": NOON,
        "by": by,
    }
    return counter.take_in(**facts | changes)


def weighed(shop: Shop, **changes: Any) -> WeighIn:
    facts = {"scale": shop.fine_scale, "mass": "24.82", "cleaned": True, "reason": "it is light"}
    return WeighIn(**facts | {"colourway": shop.avocet_slate} | changes)


def without_email(shop: Shop) -> Filing:
    return filing(shop, contact=replace(WANDA, email=""))


def form(shop: Shop, **changes: Any) -> dict[str, Any]:
    return {
        "key": key(),
        "colourway": shop.avocet_slate.pk,
        "component": "arm_left",
        "defect": "snapped",
        "note": "",
        "name": "Wanda Reed",
        "email": "",
        "street": "7 Towpath",
        "extra": "",
        "postal_code": "12345",
        "city": "Saltmarsh",
        "region": "",
        "country": "DE",
        "scale": shop.fine_scale.pk,
        "mass": "24.82",
        "reason": "it is light",
        "cleaned": "on",
        "wish": "regrind",
        "lenses_back": "no",
        "notice": "on",
        "consent": "screen",
    } | changes


@pytest.fixture
def desk(client: Client, bea: User) -> Client:
    client.force_login(bea)
    return client


# The rule


def test_everything_happens_in_one_go(shop: Shop, bea: User) -> None:
    walk_in = taken(shop, bea)
    request = Request.objects.get()
    frame = ReturnedFrame.objects.get()
    assert (walk_in.request, walk_in.consent, walk_in.seen_by) == (request, "screen", bea)
    assert (request.state, frame.state, frame.wish, frame.number) == (
        "arrived",
        "weighed",
        "regrind",
        1,
    )
    assert Parcel.objects.get().done_at == NOON
    assert Movement.objects.get(kind="weigh_in").subject == frame.tag
    names = ["arrivals.book", "arrivals.finish", "arrivals.weigh_in", "counter.take_in"]
    assert sorted(Event.objects.values_list("name", flat=True)) == names
    # The receipt and no letter that it is awaited or has arrived.
    letters = [one.payload["letter"] for one in OutboxMessage.objects.filter(topic="letter")]
    assert letters == ["taken_in"]


def test_a_repeat_takes_nothing_in_again(shop: Shop, bea: User) -> None:
    same = key()
    first = taken(shop, bea, key=same)
    assert taken(shop, bea, key=same) == first
    assert ReturnedFrame.objects.count() == 1
    for changes in (
        {"consent": "paper"},
        {"weighing": weighed(shop, mass="24.83")},
        {"filing": filing(shop, wish="post_back")},
    ):
        with pytest.raises(KeyReused):
            taken(shop, bea, key=same, **changes)


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"consent": ""}, "consent"),
        ({"consent": "shouted"}, "consent"),
        ({"mass": "abc"}, "mass"),
        ({"cleaned": False}, "cleaned"),
        ({"mass": "2.48", "reason": ""}, "mass"),
        ({"wish": ""}, "wish"),
        ({"name": ""}, "name"),
        ({"email": "nonsense"}, "email"),
    ],
)
def test_nothing_is_half_taken_in(
    shop: Shop, bea: User, changes: dict[str, Any], field: str
) -> None:
    facts: dict[str, Any] = {}
    for name, value in changes.items():
        if name in ("mass", "cleaned", "reason"):
            facts["weighing"] = replace(facts.get("weighing", weighed(shop)), **{name: value})
        elif name in ("name", "email"):
            facts["filing"] = filing(shop, contact=replace(WANDA, **{name: value}))
        elif name == "wish":
            facts["filing"] = filing(shop, wish=value)
        else:
            facts[name] = value
    with pytest.raises(BadInput) as refused:
        taken(shop, bea, **facts)
    assert refused.value.field == field
    assert not Request.objects.exists()
    assert not Parcel.objects.exists()
    assert not Event.objects.exists()


def test_an_email_may_be_missing_and_an_address_still_changed(shop: Shop, bea: User) -> None:
    request = taken(shop, bea, filing=without_email(shop)).request
    moved = replace(WANDA, street="9 Towpath")
    intake.change_address(key=key(), request=request, contact=moved, at=NOON)
    person = intake.person_of(Request.objects.get())
    assert (person.email, person.street) == ("", "9 Towpath")
    with pytest.raises(BadInput):
        intake.file_return(key=key(), filing=without_email(shop), at=NOON)


def test_a_model_that_is_not_known_may_be_taken_in(shop: Shop, bea: User) -> None:
    unknown = weighed(shop, colourway=None)
    taken(shop, bea, filing=filing(shop, colourway=None), weighing=unknown)
    assert ReturnedFrame.objects.get().colourway is None


def test_the_letter_is_a_receipt(shop: Shop, bea: User) -> None:
    request = taken(shop, bea).request
    frame = ReturnedFrame.objects.get()
    letter = compose("taken_in", Occasion(request, frame, Workshop.the()))
    text = "\n".join(letter.paragraphs)
    assert letter.subject.startswith("We have taken your frame in")
    assert f"has the tag {frame.tag} and weighs 24.820 g" in text
    assert "If it cannot be mended: grind it" in text
    assert "Post it to" not in text


def test_who_came_by_foot_is_told_of_no_postage_to_us_and_who_collects_of_none(
    shop: Shop, bea: User
) -> None:
    Terms.the()
    facts = {"postage_in_paid_by": "customer", "postage_back_paid_by": "workshop"}
    Terms.objects.update(**facts, mending_minor=0, kit_minor=0)
    told = []
    for collects in (False, True):
        request = taken(shop, bea, collects=collects).request
        assert request.collects is collects
        frame = request.frames.get()
        letter = compose("taken_in", Occasion(request, frame, Workshop.the()))
        told.append("\n".join(letter.paragraphs))
    assert all("You pay the postage of your parcel to us" not in text for text in told)
    assert ["We pay the postage back to you" in text for text in told] == [True, False]
    assert all("Looking it over, mending and grinding cost you nothing" in text for text in told)


# The page


def test_a_walk_in_takes_two_page_loads(desk: Client, shop: Shop) -> None:
    loads = [desk.get("/bench/counter/")]
    answer = desk.post("/bench/counter/", form(shop))
    reference = Request.objects.get().reference
    assert answer["Location"] == f"/bench/counter/{reference}/"
    loads.append(desk.get(answer["Location"]))
    print(f"walk-in: {len(loads)} page loads")
    assert [one.status_code for one in loads] == [200, 200]
    # The server says all faults in one round; the browser would stop at the first.
    assert "novalidate" in loads[0].content.decode()
    page = loads[-1].content.decode()
    assert "pressed by the customer on our screen" in page
    assert "Print the receipt" in page
    assert "Its link is their only key" in page
    paper = desk.get(f"/bench/counter/{reference}/receipt.pdf")
    assert paper.content.startswith(b"%PDF")
    assert paper["Cache-Control"] == "no-store"


def test_the_signed_slip_needs_the_word_of_who_saw_it(desk: Client, shop: Shop, bea: User) -> None:
    paper = form(shop, consent="paper")
    slip = desk.post("/bench/counter/consent.pdf", paper | {"cleaned": "", "mass": ""})
    assert slip.content.startswith(b"%PDF")
    assert not Request.objects.exists()
    refused = desk.post("/bench/counter/", paper)
    assert refused.status_code == 422
    assert "have it signed, look at it" in refused.content.decode()
    desk.post("/bench/counter/", paper | {"seen": "on"})
    walk_in = WalkIn.objects.get()
    assert (walk_in.consent, walk_in.seen_by) == ("paper", bea)


@pytest.mark.parametrize("consent", ["", "shouted"])
def test_neither_button_is_no_consent(desk: Client, shop: Shop, consent: str) -> None:
    assert desk.post("/bench/counter/", form(shop, consent=consent)).status_code == 422
    assert not Request.objects.exists()


def test_faults_stand_beside_their_fields_and_nothing_is_lost(desk: Client, shop: Shop) -> None:
    answer = desk.post("/bench/counter/", form(shop, mass="1.234", reason="", street="9 Quay"))
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "Weighed again" in page
    assert "9 Quay" in page
    empty = desk.post("/bench/counter/", {"consent": "screen"})
    assert empty.status_code == 422
    assert desk.post("/bench/counter/consent.pdf", {}).status_code == 422


def test_the_private_link_is_the_benchs_for_an_hour_only(
    desk: Client, shop: Shop, bea: User, olga: User
) -> None:
    reference = taken(shop, bea).request.reference
    path = f"/bench/counter/{reference}/receipt.pdf"
    for minutes, status in ((59, 200), (60, 404)):
        with time_machine.travel(NOON + timedelta(minutes=minutes), tick=False):
            desk.force_login(bea)
            assert desk.get(path).status_code == status, minutes
            assert desk.get(f"/bench/counter/{reference}/").status_code == 200
    with time_machine.travel(NOON + timedelta(hours=2), tick=False):
        desk.force_login(olga)
        assert desk.get(path).status_code == 200
        Request.objects.update(ended_at=NOON)
        assert desk.get(path).status_code == 404


def test_only_a_walk_in_has_a_receipt(desk: Client, shop: Shop) -> None:
    posted = intake.file_return(key=key(), filing=filing(shop), at=NOON)
    assert desk.get(f"/bench/counter/{posted.reference}/").status_code == 404
    assert desk.get(f"/bench/counter/{posted.reference}/receipt.pdf").status_code == 404


def test_its_story_speaks_of_no_post(client: Client, shop: Shop, bea: User) -> None:
    request = taken(shop, bea, filing=without_email(shop)).request
    page = client.get(f"/story/{intake.link_secret(request)}/").content.decode()
    assert "You brought a frame to our counter." in page
    assert "none, so we cannot write to you" in page
    for words in ("I have posted it", "Slip to print", "You told us that a frame"):
        assert words not in page
