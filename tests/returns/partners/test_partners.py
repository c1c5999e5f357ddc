"""A shop that takes frames in: its slips, its box, its page, and the wearers who file."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.db import IntegrityError, transaction
from django.test import Client

from inventory.errors import BadInput, KeyReused, NotFound, StaleState
from inventory.models import Event, OutboxMessage, Workshop
from returns.arriving import rules as arriving
from returns.arriving.rules import WeighIn
from returns.filing.rules import intake
from returns.letters.texts import Occasion, compose
from returns.models import Parcel, Partner, PartnerSlip, Request, ReturnedFrame
from returns.partners import queries
from returns.partners import rules as partners
from returns.story.sums.states import FrameState
from tests.makers import NOON, Shop, key
from tests.returns.customer_makers import filing, sent_back
from tests.returns.filing.test_customer_filing import typed

pytestmark = pytest.mark.django_db


@pytest.fixture
def optician(shop: Shop, olga: User) -> Partner:
    return partners.add(key=key(), name="Lantern Optics", town="Saltmarsh", at=NOON, by=olga)


def slips(partner: Partner, by: User, count: int = 3) -> list[PartnerSlip]:
    sheet = partners.print_sheet(key=key(), partner=partner, count=count, at=NOON, by=by)
    return list(partner.slips.filter(sheet=sheet))


def filed(shop: Shop, slip: PartnerSlip, **changes: Any) -> Request:
    return partners.file(key=key(), slip=slip, filing=filing(shop, **changes), at=NOON)


def boxed(by: User, *found: PartnerSlip) -> Parcel:
    scans = [one.code for one in found]
    return partners.book_box(key=key(), scans=scans, at=NOON, by=by)


def weighed(shop: Shop, parcel: Parcel, by: User, **changes: Any) -> ReturnedFrame:
    facts: dict[str, Any] = {"scale": shop.fine_scale, "mass": "24.82", "cleaned": True}
    facts |= {"colourway": shop.avocet_slate, "reason": "it is light"}
    weighing = WeighIn(**facts | changes)
    return arriving.weigh_in(key=key(), parcel=parcel, weighing=weighing, at=NOON, by=by)


def state(slip: PartnerSlip) -> str:
    return queries.line(PartnerSlip.objects.select_related("request").get(pk=slip.pk)).state


def sent() -> list[tuple[str, str]]:
    rows = OutboxMessage.objects.filter(topic="letter")
    return sorted((one.payload["letter"], one.subject) for one in rows)


# Entering a partner


def test_a_partner_is_entered_once(optician: Partner, olga: User) -> None:
    again = {"name": " lantern  optics ", "town": "", "at": NOON, "by": olga}
    with pytest.raises(BadInput):
        partners.add(key=key(), **again)
    same = key()
    made = partners.add(key=same, name="Pier Glasses", town="", at=NOON, by=olga)
    assert partners.add(key=same, name="Pier Glasses", town="", at=NOON, by=olga) == made
    assert Partner.objects.count() == 2


@pytest.mark.parametrize(
    ("name", "fits"),
    [("", False), ("x", True), ("x" * 100, True), ("x" * 101, False), ("\0", False)],
)
def test_the_name_of_a_partner(shop: Shop, olga: User, name: str, fits: bool) -> None:
    def enter() -> Partner:
        return partners.add(key=key(), name=name, town="", at=NOON, by=olga)

    if fits:
        assert enter().name == name
        return
    with pytest.raises(BadInput) as refused:
        enter()
    assert refused.value.field == "name"


@pytest.mark.parametrize(("count", "fits"), [(0, False), (1, True), (40, True), (41, False)])
def test_the_slips_of_a_sheet(optician: Partner, olga: User, count: int, fits: bool) -> None:
    if not fits:
        with pytest.raises(BadInput):
            slips(optician, olga, count)
        return
    made = slips(optician, olga, count)
    assert len({one.code for one in made} | {one.link_hash for one in made}) == 2 * count
    # They cost nothing: no request, no letter, no promise.
    assert not Request.objects.exists()
    assert sent() == []


def test_a_sheet_asked_for_twice_is_made_once(optician: Partner, olga: User) -> None:
    facts = {"key": key(), "partner": optician, "count": 2, "at": NOON, "by": olga}
    assert partners.print_sheet(**facts) == partners.print_sheet(**facts) == 1
    assert slips(optician, olga, 1)[0].sheet == 2
    with pytest.raises(KeyReused):
        partners.print_sheet(**facts | {"count": 3})


def test_links_open_one_thing_each_and_are_not_stored(optician: Partner, olga: User) -> None:
    (slip,) = slips(optician, olga, 1)
    secret = intake.link_secret(slip)
    assert queries.slip_by_secret(secret) == slip
    assert len(secret) == 43
    for wrong in (slip.code, slip.link_salt, slip.link_hash, "", "é", "x" * 90):
        with pytest.raises(NotFound):
            queries.slip_by_secret(wrong)
        with pytest.raises(NotFound):
            queries.by_secret(wrong)
    with pytest.raises(NotFound):
        queries.by_secret(secret)


def test_a_link_is_revoked_and_renewed(client: Client, optician: Partner, olga: User) -> None:
    (slip,) = slips(optician, olga, 1)
    first = intake.link_secret(optician)
    assert client.get(f"/partner/{first}/").status_code == 200
    partners.close(key=key(), partner=optician, at=NOON, by=olga)
    assert client.get(f"/partner/{first}/").status_code == 404
    with pytest.raises(StaleState):
        partners.close(key=key(), partner=optician, at=NOON, by=olga)
    with pytest.raises(StaleState):
        slips(optician, olga, 1)
    # A wearer who holds a slip has a frame there.
    assert client.get(f"/slip/{intake.link_secret(slip)}/").status_code == 200
    renewed = partners.renew_link(key=key(), partner=optician, at=NOON, by=olga)
    assert client.get(f"/partner/{first}/").status_code == 404
    assert client.get(f"/partner/{intake.link_secret(renewed)}/").status_code == 200


# The box


def test_one_box_holds_the_frames_of_many(shop: Shop, optician: Partner, olga: User) -> None:
    one, two, three = slips(optician, olga)
    request = filed(shop, one)
    box = boxed(olga, one, two)
    assert Request.objects.get(pk=request.pk).state == "arrived"
    assert [state(slip) for slip in (one, two, three)] == ["here", "unfiled", "unused"]
    first = weighed(shop, box, olga, request=request)
    second = weighed(shop, box, olga, slip=two, colourway=None)
    assert (first.request, first.wish) == (request, "regrind")
    assert (second.request, second.wish, second.partner_slip) == (None, "", two)
    # One that lay in it unscanned is found on the scale.
    third = weighed(shop, box, olga, slip=three)
    assert state(three) == "unfiled"
    assert [row.tags for row in queries.in_box(box)] == [
        [frame.tag]
        for frame in sorted((first, second, third), key=lambda one: one.partner_slip.code)
    ]
    arriving.finish(key=key(), parcel=box, at=NOON, by=olga)
    assert sent() == [("arrived", one.code), ("filed", one.code)]


def test_what_was_not_filed_waits_and_joins_its_wearer(
    shop: Shop, optician: Partner, olga: User
) -> None:
    (slip,) = slips(optician, olga, 1)
    box = boxed(olga, slip)
    frame = weighed(shop, box, olga, slip=slip)
    arriving.finish(key=key(), parcel=box, at=NOON, by=olga)
    request = filed(shop, slip, wish="post_back", lenses_back=True)
    frame.refresh_from_db()
    assert request.reference == slip.code
    assert (request.state, frame.request, frame.wish) == ("arrived", request, "post_back")
    assert (frame.lenses_back, frame.number) == (True, 1)
    assert [name for name, _subject in sent()] == ["arrived", "filed"]
    letter = compose("filed", Occasion(request, None, Workshop.the()))
    assert letter.subject.startswith("We have your frame and your request")
    assert "Post it to" not in "\n".join(letter.paragraphs)


def test_an_empty_bag_is_awaited_again_and_its_wearer_told(
    shop: Shop, optician: Partner, olga: User
) -> None:
    one, two, _three = slips(optician, olga)
    requests = [filed(shop, slip) for slip in (one, two)]
    box = boxed(olga, one, two)
    weighed(shop, box, olga, request=requests[0])
    arriving.finish(key=key(), parcel=box, at=NOON, by=olga)
    states = [Request.objects.get(pk=request.pk).state for request in requests]
    assert states == ["arrived", "awaited"]
    assert ("empty", two.code) in sent()
    assert ("empty", one.code) not in sent()


def test_an_undone_weigh_in_opens_the_box_for_its_wearer(
    shop: Shop, optician: Partner, olga: User
) -> None:
    (slip,) = slips(optician, olga, 1)
    request = filed(shop, slip)
    box = boxed(olga, slip)
    frame = weighed(shop, box, olga, request=request)
    arriving.finish(key=key(), parcel=box, at=NOON, by=olga)
    arriving.unweigh(key=key(), frame=frame, reason="wrong bag", at=NOON, by=olga)
    assert Request.objects.get().state == "arrived"


def test_a_box_is_booked_once(optician: Partner, olga: User) -> None:
    found = slips(optician, olga)
    codes = [one.code for one in found]
    facts = {"key": key(), "at": NOON, "by": olga}
    box = partners.book_box(scans=[*codes, codes[0].lower()], **facts)
    assert partners.book_box(scans=codes, **facts) == box
    assert Parcel.objects.count() == 1
    with pytest.raises(KeyReused):
        partners.book_box(scans=codes[:1], **facts)
    with pytest.raises(BadInput) as refused:
        boxed(olga, found[0])
    assert box.code in refused.value.message


@pytest.mark.parametrize("count", [0, 61])
def test_too_few_and_too_many_scans(optician: Partner, olga: User, count: int) -> None:
    found = [*slips(optician, olga, 40), *slips(optician, olga, 21)][:count]
    with pytest.raises(BadInput) as refused:
        boxed(olga, *found)
    assert refused.value.field == "scans"


def test_what_does_not_belong_into_the_box_is_named(
    shop: Shop, optician: Partner, olga: User
) -> None:
    (mine,) = slips(optician, olga, 1)
    other = partners.add(key=key(), name="Pier Glasses", town="", at=NOON, by=olga)
    (theirs,) = slips(other, olga, 1)
    posted = sent_back(shop).reference
    for scan in (theirs.code, posted, "nonsense"):
        with pytest.raises(BadInput) as refused:
            partners.book_box(key=key(), scans=[mine.code, scan], at=NOON, by=olga)
        assert scan in refused.value.message
    assert not Parcel.objects.exists()
    assert state(mine) == "unused"


def test_the_database_refuses_an_arrival_without_a_box(optician: Partner, olga: User) -> None:
    (slip,) = slips(optician, olga, 1)
    with pytest.raises(IntegrityError), transaction.atomic():
        PartnerSlip.objects.filter(pk=slip.pk).update(arrived_at=NOON)


# Filing with a slip


def test_a_strangers_frame_in_a_box_is_weighed_in_under_its_slip_or_without_one(
    shop: Shop, optician: Partner, olga: User
) -> None:
    """A shop's box holds what people left there, ours or not; the other bags go their own way."""
    one, two = slips(optician, olga, 2)
    request = filed(shop, one, wish="post_back")
    box = boxed(olga, one, two)
    strange = {"is_stranger": True, "colourway": None, "reason": ""}
    theirs = weighed(shop, box, olga, slip=one, **strange)
    assert (theirs.is_stranger, theirs.request, theirs.wish) == (True, request, "post_back")
    unfiled = weighed(shop, box, olga, slip=two, **strange)
    assert (unfiled.is_stranger, unfiled.request, unfiled.partner_slip) == (True, None, two)
    # One that lay loose in the box: nobody's, until somebody asks for it.
    loose = weighed(shop, box, olga, **strange)
    assert (loose.is_stranger, loose.request, loose.partner_slip) == (True, None, None)
    assert [len(line.tags) for line in queries.in_box(box)] == [1, 1]


def test_the_tick_not_ours_clears_the_model_that_a_partners_slip_brought(
    shop: Shop, optician: Partner, olga: User, client: Client
) -> None:
    (slip,) = slips(optician, olga, 1)
    filed(shop, slip)
    box = boxed(olga, slip)
    client.force_login(olga)
    form = {
        "key": key(),
        "request": slip.code,
        "colourway": shop.avocet_slate.pk,
        "is_stranger": "on",
        "scale": shop.fine_scale.pk,
        "mass": "24.82",
        "cleaned": "on",
        "mends_before": 0,
    }
    answer = client.post(f"/bench/parcel/{box.code}/", form)
    assert answer.status_code == 302, answer.content.decode()
    frame = ReturnedFrame.objects.get()
    assert (frame.is_stranger, frame.colourway, frame.request) == (True, None, slip_request(slip))


def test_a_shops_box_asks_for_each_slip_in_sight(
    optician: Partner, olga: User, client: Client
) -> None:
    """Whoever scans a slip at the scale finds it in the form; nothing opens, nothing is folded."""
    box = boxed(olga, *slips(optician, olga, 2))
    client.force_login(olga)
    page = client.get(f"/bench/parcel/{box.code}/").content.decode()
    field = page[page.index('name="request"') :].partition(">")[0]
    assert 'data-scan="one"' in field
    assert page.index('name="request"') < page.index("<details")
    assert page.count('name="request"') == 1


def slip_request(slip: PartnerSlip) -> Request | None:
    return PartnerSlip.objects.get(pk=slip.pk).request


def test_a_slip_is_filed_once(shop: Shop, optician: Partner, olga: User) -> None:
    (slip,) = slips(optician, olga, 1)
    same = key()
    first = partners.file(key=same, slip=slip, filing=filing(shop), at=NOON)
    assert partners.file(key=same, slip=slip, filing=filing(shop), at=NOON) == first
    with pytest.raises(StaleState):
        filed(shop, slip)
    assert Request.objects.count() == 1


def test_the_wearer_files_and_follows_and_the_slip_tells_no_more(
    client: Client, shop: Shop, optician: Partner, olga: User
) -> None:
    (slip,) = slips(optician, olga, 1)
    link = f"/slip/{intake.link_secret(slip)}/"
    page = client.get(link).content.decode()
    assert "Lantern Optics, Saltmarsh" in page
    assert f'action="{link}?send"' in page
    sent_form = typed(shop)
    answer = client.post(link, sent_form)
    request = Request.objects.get()
    assert answer["Location"] == f"/story/{intake.link_secret(request)}/"
    # Sent once more, it shows the same story.
    assert client.post(link, sent_form)["Location"] == answer["Location"]
    story = client.get(answer["Location"]).content.decode()
    assert "at Lantern Optics, Saltmarsh" in story
    assert "You filed with a slip from a shop." in story
    assert "Post it to" not in story
    used = client.get(link).content.decode()
    assert "This slip has been filed" in used
    for personal in ("Wanda", "wanda@", "Towpath", intake.link_secret(request)):
        assert personal not in used
    refused = client.post(link, typed(shop))
    assert "This slip has been filed" in refused.content.decode()
    assert Request.objects.count() == 1


def test_an_error_and_another_frame_stay_with_the_slip(
    client: Client, shop: Shop, optician: Partner, olga: User
) -> None:
    (slip,) = slips(optician, olga, 1)
    link = f"/slip/{intake.link_secret(slip)}/"
    for changes in ({"wish": ""}, {"add_frame": "1"}):
        page = client.post(link, typed(shop) | changes).content.decode()
        assert f'action="{link}?send"' in page
        assert slip.code in page
    assert not Request.objects.exists()


def test_no_reference_is_given_twice(shop: Shop, optician: Partner, olga: User) -> None:
    (slip,) = slips(optician, olga, 1)
    drawn = iter([slip.code, slip.code, "Q-7KDM-3XQ9"])
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(intake.codes, "new_code", lambda _prefix: next(drawn))
        assert intake.fresh_reference() == "Q-7KDM-3XQ9"


# What each one sees


def test_the_partners_page_knows_states_and_no_person(
    client: Client, shop: Shop, optician: Partner, olga: User
) -> None:
    found = slips(optician, olga, 5)
    filed(shop, found[1])
    box = boxed(olga, found[2], found[3])
    request = filed(shop, found[3])
    frame = weighed(shop, box, olga, request=request)
    page = client.get(f"/partner/{intake.link_secret(optician)}/")
    text = page.content.decode()
    assert page["Cache-Control"] == "no-store"
    for slip in found:
        assert slip.code in text
    for words in ("not used yet", "filed, not with us yet", "has not filed it yet", "with us"):
        assert words in text
    for personal in ("Wanda", "wanda@", "Towpath", "regrind", "It fell", frame.tag, "Avocet"):
        assert personal not in text


@pytest.mark.parametrize(
    ("frame_state", "request_state", "seen"),
    [
        (FrameState.WEIGHED, "arrived", "here"),
        (FrameState.HELD, "arrived", "here"),
        (FrameState.MENDING, "arrived", "mending"),
        (FrameState.MENDED, "arrived", "mending"),
        (FrameState.POSTED, "settled", "done"),
        (FrameState.GROUND, "settled", "done"),
        (None, "awaited", "filed"),
        (None, "withdrawn", "ended"),
        (None, "resting", "ended"),
    ],
)
def test_states_by_slip(
    shop: Shop, optician: Partner, olga: User, frame_state: Any, request_state: str, seen: str
) -> None:
    (slip,) = slips(optician, olga, 1)
    request = filed(shop, slip)
    if frame_state is not None:
        weighed(shop, boxed(olga, slip), olga, request=request)
        ReturnedFrame.objects.update(state=frame_state)
    ended = None if request_state in ("arrived", "awaited") else NOON
    Request.objects.update(state=request_state, ended_at=ended)
    assert state(slip) == seen


def test_the_owner_enters_prints_and_revokes(client: Client, shop: Shop, olga: User) -> None:
    client.force_login(olga)
    answer = client.post("/owner/partners/", {"key": key(), "name": "Lantern Optics", "town": ""})
    path = answer["Location"]
    assert intake.link_secret(Partner.objects.get()) in client.get(path).content.decode()
    client.post(f"{path}sheet/", {"key": key(), "count": "9"})
    assert PartnerSlip.objects.count() == 9
    paper = client.get(f"{path}sheet/1.pdf")
    assert paper.content.startswith(b"%PDF")
    assert client.get(f"{path}sheet/2.pdf").status_code == 404
    assert client.post(f"{path}sheet/", {"key": key(), "count": "41"}).status_code == 422
    client.post(f"{path}close/", {"key": key()})
    page = client.get(path).content.decode()
    assert "revoked and opens nothing" in page
    client.post(f"{path}renew/", {"key": key()})
    assert intake.link_secret(Partner.objects.get()) in client.get(path).content.decode()
    assert client.post("/owner/partners/", {"key": key(), "name": ""}).status_code == 422
    assert client.get("/owner/partners/999/").status_code == 404
    assert set(Event.objects.values_list("subject", flat=True)) == {
        f"partner-{Partner.objects.get().pk}"
    }


def test_the_bench_books_and_weighs_scan_by_scan(
    client: Client, shop: Shop, optician: Partner, olga: User, bea: User
) -> None:
    one, two, three = slips(optician, olga)
    filed(shop, one)
    client.force_login(bea)
    # Scanned anywhere, a slip that nobody has filed leads to the box.
    assert client.get(f"/go/{two.code}/")["Location"] == f"/bench/partners/box/?slip={two.code}"
    scans = f"{one.code}\n{two.code}\n"
    answer = client.post("/bench/partners/box/", {"key": key(), "scans": scans})
    box = Parcel.objects.get()
    assert answer["Location"] == f"/bench/parcel/{box.code}/"
    page = client.get(answer["Location"]).content.decode()
    assert "Box of Lantern Optics, Saltmarsh" in page
    assert "not filed yet" in page
    facts = {
        "scale": shop.fine_scale.pk,
        "mass": "24.82",
        "cleaned": "on",
        "reason": "it is light",
        "colourway": shop.avocet_slate.pk,
        "mends_before": "0",
    }
    for slip in (one, two):
        sent_form = facts | {"key": key(), "request": slip.code}
        assert client.post(answer["Location"], sent_form).status_code == 302
    frames = ReturnedFrame.objects.order_by("pk")
    assert [frame.partner_slip for frame in frames] == [one, two]
    assert client.get(f"/go/{two.code}/")["Location"] == f"/bench/frame/{frames[1].tag}/"
    assert (
        "It waits for its wearer" in client.get(f"/bench/frame/{frames[1].tag}/").content.decode()
    )
    tag = client.get(f"/bench/frame/{frames[1].tag}/label.pdf")
    assert tag.content.startswith(b"%PDF")
    refused = client.post("/bench/parcel/book/", {"key": key(), "request": three.code})
    assert "Book the whole box" in refused.content.decode()


def test_a_box_is_weighed_in_a_row(
    client: Client, shop: Shop, optician: Partner, olga: User, bea: User
) -> None:
    one, two, three = slips(optician, olga)
    filed(shop, one)
    box = boxed(olga, one, two)
    client.force_login(bea)
    lines = re.findall(r'name="([\w-]+)-request"', client.get("/bench/arrivals/").content.decode())
    sent_form: dict[str, Any] = {"scale": shop.fine_scale.pk, "cleaned": "on"}
    for line, slip in zip(lines, (one, two, three), strict=False):
        sent_form |= {f"{line}-key": key(), f"{line}-request": slip.code}
        sent_form |= {f"{line}-mass": "24.82", f"{line}-reason": "it is light"}
    page = client.post("/bench/arrivals/", sent_form).content.decode()
    assert "Book its box first" in page
    frames = ReturnedFrame.objects.order_by("pk")
    assert [(frame.parcel, frame.partner_slip) for frame in frames] == [(box, one), (box, two)]
    assert Parcel.objects.get().done_at is None
    again = {name: value for name, value in sent_form.items() if lines[1] in name}
    again |= {"scale": shop.fine_scale.pk, "cleaned": "on", f"{lines[1]}-key": key()}
    assert "is here already" in client.post("/bench/arrivals/", again).content.decode()


def test_a_reminder_does_not_ask_for_a_parcel(shop: Shop, optician: Partner, olga: User) -> None:
    (slip,) = slips(optician, olga, 1)
    letter = compose("reminder", Occasion(filed(shop, slip), None, Workshop.the()))
    text = "\n".join(letter.paragraphs)
    assert "at Lantern Optics, Saltmarsh" in text
    assert "Post it to" not in text


def test_a_wearer_reads_the_truth_at_each_moment(
    client: Client, shop: Shop, optician: Partner, olga: User
) -> None:
    (slip,) = slips(optician, olga, 1)
    request = filed(shop, slip)
    link = f"/story/{intake.link_secret(request)}/"

    def text() -> str:
        return re.sub(r"<[^>]+>", " ", client.get(link).content.decode())

    assert "Leave your frame, with the slip" in text()
    box = boxed(olga, slip)
    assert "is here. Next we open your bag" in text()
    assert "Leave your frame" not in text()
    weighed(shop, box, olga, request=request)
    assert "Next we look it over" in text()
    assert "Next we open your bag" not in text()
