"""Several parcels weighed in one after another, booked by one press."""

from __future__ import annotations

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse

from returns.models import Parcel, Request, ReturnedFrame
from tests.makers import Shop, key
from tests.returns import customer_makers
from tests.returns.bench_makers import booked, filed

pytestmark = pytest.mark.django_db
ADDRESS = "/bench/arrivals/"


@pytest.fixture
def desk(client: Client, bea: User) -> Client:
    client.force_login(bea)
    return client


def sent(shop: Shop, *lines: tuple[Request, str], **changes: object) -> dict[str, object]:
    """The form with these slips and masses; the other lines stay empty."""
    facts: dict[str, object] = {"scale": shop.fine_scale.pk, "cleaned": "on"}
    for number in range(1, 13):
        facts[f"line{number}-key"] = key()
    for number, (slip, mass) in enumerate(lines, 1):
        facts |= {f"line{number}-request": slip.reference, f"line{number}-mass": mass}
    return facts | changes


def test_each_line_is_a_parcel_of_its_own_and_a_second_click_repeats(
    desk: Client, shop: Shop, bea: User
) -> None:
    new, early = filed(shop.avocet_slate), filed(shop.avocet_slate)
    parcel = booked(bea, early)
    facts = sent(shop, (new, "24,31"), (early, "24.82"))
    answers = [desk.post(ADDRESS, facts) for _click in range(2)]
    frames = ReturnedFrame.objects.order_by("pk")
    tags = ",".join(frame.tag for frame in frames)
    assert {answer.headers["Location"] for answer in answers} == {f"{ADDRESS}?weighed={tags}"}
    assert [frame.reading.mass_mg for frame in frames] == [24_310, 24_820]
    assert [frame.request for frame in frames] == [new, early]
    assert frames[1].parcel == parcel
    assert not Parcel.objects.filter(done_at=None).exists()
    page = desk.get(answers[0].headers["Location"]).content.decode()
    assert all(frame.tag in page for frame in frames)
    label = desk.get(reverse("tags-of"), {"tags": tags})
    assert label.content.startswith(b"%PDF-")
    assert desk.get(reverse("tags-of"), {"tags": "\0"}).status_code == 404


def test_a_doubtful_line_stays_with_its_question_and_holds_up_no_other(
    desk: Client, shop: Shop
) -> None:
    good, odd = filed(shop.avocet_slate), filed(shop.avocet_slate)
    facts = sent(shop, (odd, "2,431"), (good, "24,31"))
    answer = desk.post(ADDRESS, facts)
    assert answer.status_code == 422
    assert ReturnedFrame.objects.get().request == good
    left = [line for line in answer.context["lines"] if not line.is_empty]
    assert [line["request"].value() for line in left] == [odd.reference]
    assert "Is it 24.310 g?" in left[0].errors["mass"][0]
    assert desk.post(ADDRESS, facts | {"line1-again": "2,431"}).status_code == 302
    assert ReturnedFrame.objects.count() == 2


@pytest.mark.parametrize("lacking", ["scale", "cleaned"])
def test_without_the_scale_or_the_word_nothing_is_weighed_in(
    desk: Client, shop: Shop, lacking: str
) -> None:
    facts = sent(shop, (filed(shop.avocet_slate), "24,31"), **{lacking: ""})
    answer = desk.post(ADDRESS, facts)
    assert answer.status_code == 422
    assert set(answer.context["shared"].errors) == {lacking}
    assert not ReturnedFrame.objects.exists()


def test_a_slip_of_two_lines_of_screws_or_of_a_frame_that_is_here_is_refused(
    desk: Client, shop: Shop
) -> None:
    slip = filed(shop.avocet_slate)
    answer = desk.post(ADDRESS, sent(shop, (slip, "24,31"), (slip, "24,32")))
    assert "stands in another line" in answer.content.decode()
    assert ReturnedFrame.objects.count() == 1
    answer = desk.post(ADDRESS, sent(shop, (slip, "24,31")))
    assert "is here already" in answer.content.decode()
    screws = customer_makers.asked_screws(shop)
    assert desk.post(ADDRESS, sent(shop, (screws, "24,31"))).status_code == 422
    assert desk.post(ADDRESS, {}).status_code == 422
    assert ReturnedFrame.objects.count() == 1
