"""The bench's pages, as a browser without JavaScript sees them."""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path
from urllib.parse import quote

import pytest
from django.conf import settings as live
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse

from inventory.ledger.rules import places
from inventory.material.rules import grinding
from inventory.models import Event, Lot, Movement, Origin, OutboxMessage, Reservation
from inventory.parts import rules as stock
from returns.arriving import rules as arriving
from returns.grading.queries.facts import Seen
from returns.grading.rules import lookover
from returns.mending.rules import mending
from returns.models import (
    Colourway,
    Dispatch,
    Grading,
    Parcel,
    Person,
    Photo,
    Request,
    ReturnedFrame,
)
from returns.regrind.rules import stripdown
from returns.regrind.rules.stripdown import StripDown
from returns.story.sums import codes
from tests.makers import NOON, Shop, key
from tests.returns.bench_makers import booked, filed, on_shelf
from tests.returns.salvage_makers import giving, needing
from tests.returns.workroom_makers import opened

PAGES = ["bench", "parcel-book", "go", "bench-labels", "label-calibration"]


@pytest.fixture
def desk(client: Client, bea: User) -> Client:
    client.force_login(bea)
    return client


@pytest.fixture
def frame(shop: Shop, bea: User) -> ReturnedFrame:
    return on_shelf(shop, bea, filed(shop.avocet_slate, note="it went snap"))


def page_of(frame: ReturnedFrame, name: str = "frame") -> str:
    return reverse(name, args=[frame.tag])


def weigh_facts(shop: Shop, **changes: object) -> dict[str, object]:
    facts: dict[str, object] = {
        "key": key(),
        "mass": "24,820",
        "scale": shop.fine_scale.pk,
        "colourway": shop.avocet_slate.pk,
        "cleaned": "on",
        "request": "",
        "mends_before": "0",
    }
    return facts | changes


@pytest.mark.parametrize("name", PAGES)
def test_page_opens_for_the_bench_and_for_nobody_else(
    client: Client, shop: Shop, bea: User, name: str
) -> None:
    assert client.get(reverse(name)).status_code == 302
    client.force_login(bea)
    assert client.get(reverse(name)).status_code in (200, 404)


@pytest.mark.parametrize(
    "name", ["frame-look", "frame-label", "parcel", "parcel-label", "bench-request"]
)
def test_accountant_and_strangers_stay_out_of_the_bench(
    client: Client, frame: ReturnedFrame, acke: User, name: str
) -> None:
    assert frame.request is not None
    code = {"parcel": frame.parcel.code, "bench-request": frame.request.reference}
    address = reverse(name, args=[code.get(name.removesuffix("-label"), code.get(name, frame.tag))])
    assert client.get(address).status_code == 302
    client.force_login(acke)
    assert client.get(address).status_code == 403


def test_accountant_reads_a_frame_but_may_not_act(
    client: Client, frame: ReturnedFrame, acke: User
) -> None:
    client.force_login(acke)
    page = client.get(page_of(frame))
    assert page.status_code == 200
    assert b'<form method="post"' not in page.content.split(b"page-content")[1]
    assert client.post(page_of(frame, "frame-wish"), {}).status_code == 403


def test_parcel_is_booked_from_a_scanned_link_and_the_request_has_arrived(
    desk: Client, shop: Shop
) -> None:
    story = filed(shop.avocet_slate)
    scanned = f"https://frames.example.org/go/{story.reference}/"
    answer = desk.post(reverse("parcel-book"), {"key": key(), "request": scanned})
    parcel = Parcel.objects.get()
    assert answer.headers["Location"] == reverse("parcel", args=[parcel.code])
    assert parcel.request == story


@pytest.mark.parametrize("typed", ["Q-2222-2222", "nonsense", "F-7KDM-3XQ9", "x" * 121])
def test_bad_reference_is_said_beside_its_field(desk: Client, shop: Shop, typed: str) -> None:
    answer = desk.post(reverse("parcel-book"), {"key": key(), "request": typed})
    assert answer.status_code == 422
    assert "request" in answer.context["form"].errors
    assert not Parcel.objects.exists()


def test_frames_are_weighed_in_one_after_another_with_the_focus_on_the_mass(
    desk: Client, shop: Shop, bea: User
) -> None:
    story = filed(shop.avocet_slate)
    address = reverse("parcel", args=[booked(bea, story).code])
    first = desk.get(address)
    assert first.context["form"]["request"].value() == story.reference
    assert b"autofocus" in first.content
    for reference in (story.reference, ""):
        answer = desk.post(address, weigh_facts(shop, request=reference), follow=True)
        assert answer.status_code == 200
    assert answer.context["form"]["scale"].value() == shop.fine_scale.pk
    assert [frame.request for frame in ReturnedFrame.objects.order_by("pk")] == [story, None]
    assert b"24.82 g" in answer.content


def test_double_click_weighs_in_once(desk: Client, shop: Shop, bea: User) -> None:
    address, facts = reverse("parcel", args=[booked(bea).code]), weigh_facts(shop)
    assert {desk.post(address, facts).status_code for _click in range(2)} == {302}
    assert ReturnedFrame.objects.count() == 1


def test_ambiguous_mass_is_asked_back_with_both_readings(
    desk: Client, shop: Shop, bea: User
) -> None:
    shop.fine_scale.capacity_mg = 2_000_000
    shop.fine_scale.save()
    address = reverse("parcel", args=[booked(bea).code])
    answer = desk.post(address, weigh_facts(shop, mass="1,234"))
    data = " ".join(answer.context["form"].errors["mass"])
    assert answer.status_code == 422
    assert "1.234 g" in data
    assert "1234 g" in data.replace("\u202f", "").replace(" g", " g")


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"cleaned": ""}, "cleaned"),
        ({"mass": ""}, "mass"),
        ({"scale": "999"}, "scale"),
        ({"batch": "NO-SUCH"}, "batch"),
        ({"mends_before": "21"}, "mends_before"),
        ({"is_stranger": "on", "batch": "AV-2601"}, "is_stranger"),
        ({"colourway": "x"}, "colourway"),
        ({"key": "not-a-key"}, "key"),
    ],
)
def test_bad_weigh_in_keeps_what_was_typed(
    desk: Client, shop: Shop, bea: User, changes: dict[str, object], field: str
) -> None:
    address = reverse("parcel", args=[booked(bea).code])
    answer = desk.post(address, weigh_facts(shop, **changes))
    assert answer.status_code == 422
    assert field in answer.context["form"].errors
    assert not ReturnedFrame.objects.exists()


def test_one_tick_says_that_it_is_not_ours_and_clears_the_slips_model(
    desk: Client, shop: Shop, bea: User
) -> None:
    address = reverse("parcel", args=[booked(bea, filed(shop.avocet_slate)).code])
    assert desk.post(address, weigh_facts(shop, is_stranger="on")).status_code == 302
    frame = ReturnedFrame.objects.get()
    assert (frame.is_stranger, frame.colourway) == (True, None)


@pytest.mark.parametrize("mass", ["24,31,2", "-3", "abc", "2431", "", "1.234"])
def test_tick_and_mass_are_criticised_in_one_round(
    desk: Client, shop: Shop, bea: User, mass: str
) -> None:
    address = reverse("parcel", args=[booked(bea).code])
    answer = desk.post(address, weigh_facts(shop, mass=mass, cleaned=""))
    assert answer.status_code == 422
    assert set(answer.context["form"].errors) == {"mass", "cleaned"}


def test_mass_that_no_such_frame_weighs_is_asked_back_with_the_likely_one(
    desk: Client, shop: Shop, bea: User
) -> None:
    address = reverse("parcel", args=[booked(bea).code])
    assert "Weighed again" not in desk.get(address).content.decode()
    answer = desk.post(address, weigh_facts(shop, mass="2,431"))
    assert answer.status_code == 422
    data = answer.context["form"].errors["mass"][0]
    assert "2.431 g is 9.8 % of a whole Avocet (24.820 g). Is it 24.310 g?" in data
    page = answer.content.decode()
    assert "Weighed again" in page
    assert "Or why it weighs so much or so little" in page
    facts = weigh_facts(shop, mass="2,431", again="2,430")
    assert desk.post(address, facts).status_code == 302
    assert ReturnedFrame.objects.get().reading.mass_mg == 2_431


def test_empty_parcel_is_finished_and_goes_back_to_today(
    desk: Client, shop: Shop, bea: User
) -> None:
    parcel = booked(bea)
    answer = desk.post(reverse("parcel-finish", args=[parcel.code]), {"key": key()})
    assert answer.headers["Location"] == reverse("bench")
    again = desk.post(reverse("parcel-finish", args=[parcel.code]), {"key": key()})
    assert again.status_code == 409
    assert desk.post(reverse("parcel-finish", args=[parcel.code]), {}).status_code == 400


def test_today_lists_what_waits_and_links_to_it(desk: Client, frame: ReturnedFrame) -> None:
    page = desk.get(reverse("bench"))
    assert frame.tag.encode() in page.content
    odd = (
        "?model=%00",
        "?colour=no-such",
        "?piece=%25%27",
        "?step=kits&piece=x",
        "?step=boxed&page=2",
    )
    for query in ("?step=parcels", "?step=held&page=x", "?page=-1", "?page=99999999999", *odd):
        assert desk.get(reverse("bench") + query).status_code == 200


def test_a_filter_narrows_the_list_and_says_when_nothing_fits(
    desk: Client, frame: ReturnedFrame
) -> None:
    found = desk.get(reverse("bench"), {"piece": frame.tag[-4:].lower()}).content.decode()
    assert frame.tag in found
    assert "Show all" in found
    nothing = desk.get(reverse("bench"), {"piece": "none"}).content.decode()
    assert frame.tag not in nothing
    assert "No frame here fits." in nothing


def test_a_frame_in_its_box_is_done_with_its_promise(desk: Client, frame: ReturnedFrame) -> None:
    """Late on the list while a hand can still do something; never once it lies in the box."""
    rows = ReturnedFrame.objects.filter(pk=frame.pk)
    rows.update(promised_by=date(2026, 1, 1))
    assert ">late<" in desk.get(reverse("bench")).content.decode()
    assert "promised by" in desk.get(page_of(frame)).content.decode()
    assert frame.colourway is not None
    box = places.box(
        polymer=frame.colourway.polymer, colour=frame.colourway.colour, origin=Origin.RETURN
    )
    rows.update(state="boxed", box=box, boxed_mg=19_400)
    boxed = desk.get(reverse("bench") + "?step=boxed").content.decode()
    assert frame.tag in boxed
    assert "19.400 g" in boxed
    assert ">late<" not in boxed
    assert "promised by" not in desk.get(page_of(frame)).content.decode()


def test_missing_parts_are_named_on_the_list_and_on_the_frame(
    desk: Client, frame: ReturnedFrame, shop: Shop, bea: User
) -> None:
    """The grading keeps codes; a person reads names."""
    stock.count(key=key(), part=shop.arm, counted=0, reason="none left", at=NOON, actor=bea)
    facts = {"key": key(), "polymer": "ours", "d_arm_left_snapped": "on", "take": "1"}
    page = desk.post(page_of(frame, "frame-look"), facts, follow=True).content.decode()
    assert ReturnedFrame.objects.get().state == "held"
    assert "1 × Arm, Avocet" in page
    assert "Takes 1 × Arm, Avocet." in page
    sums = page.partition('<p class="small muted">Weighed')[2].partition("</p>")[0]
    assert "plus or minus" in sums.partition("bill of materials")[0]
    assert "not weighed" in sums.partition("bill of materials")[2]
    listed = desk.get(reverse("bench") + "?step=held").content.decode()
    assert "parts are missing: 1 × Arm, Avocet" in listed
    assert "x arm-" not in page + listed


def test_frame_page_names_the_next_step_and_no_customer(desk: Client, frame: ReturnedFrame) -> None:
    page = desk.get(page_of(frame)).content.decode()
    assert page_of(frame, "frame-look") in page
    assert "Pim" not in page
    assert "pim@example.org" not in page


def shown_and_carried(page: str) -> dict[str, str]:
    """What the taking form carries: its hidden fields by name."""
    form = page.partition('id="answer"')[2].partition("</form>")[0]
    return dict(re.findall(r'type="hidden" name="([a-z_]+)" value="([^"]*)"', form))


def test_look_over_shows_the_answer_and_writes_nothing(desk: Client, frame: ReturnedFrame) -> None:
    events, letters = Event.objects.count(), OutboxMessage.objects.count()
    facts = {"key": key(), "polymer": "ours", "d_arm_left_snapped": "on"}
    answer = desk.post(page_of(frame, "frame-look"), facts)
    page = answer.content.decode()
    assert answer.status_code == 200
    assert "Repair" in page
    assert "9.25 EUR" in page
    assert "23.88 EUR" in page
    assert "Nothing is written yet" in page
    assert (Event.objects.count(), OutboxMessage.objects.count()) == (events, letters)
    assert not Grading.objects.exists()
    assert not Reservation.objects.exists()
    assert ReturnedFrame.objects.get().state == "weighed"


def test_answer_that_was_shown_is_taken_with_what_was_looked_at(
    desk: Client, frame: ReturnedFrame
) -> None:
    address = page_of(frame, "frame-look")
    facts = {"key": key(), "polymer": "ours", "d_arm_left_snapped": "on"}
    carried = shown_and_carried(desk.post(address, facts).content.decode())
    assert (carried["polymer"], carried["d_arm_left_snapped"]) == ("ours", "on")
    answer = desk.post(address, carried | {"take": "1"}, follow=True)
    assert answer.redirect_chain[0][0] == page_of(frame)
    assert Grading.objects.get().decided == "repair"
    assert ReturnedFrame.objects.get().state == "to_mend"


def test_answer_that_differs_from_the_one_shown_is_shown_instead_of_taken(
    desk: Client, frame: ReturnedFrame, shop: Shop, bea: User
) -> None:
    """The arms are gone between showing and taking: mending becomes waiting."""
    address = page_of(frame, "frame-look")
    facts = {"key": key(), "polymer": "ours", "d_arm_left_snapped": "on"}
    carried = shown_and_carried(desk.post(address, facts).content.decode())
    stock.count(key=key(), part=shop.arm, counted=0, reason="mislaid", at=NOON, actor=bea)
    refused = desk.post(address, carried | {"take": "1"})
    assert refused.status_code == 422
    assert not Grading.objects.exists()
    page = refused.content.decode()
    assert "It is shown anew: nothing is taken yet." in page
    assert "The answer: Hold" in page
    anew = shown_and_carried(page)
    assert anew["shown"] != carried["shown"]
    assert desk.post(address, anew | {"take": "1"}).status_code == 302
    assert Grading.objects.get().decided == "hold"


def test_slower_hand_is_refused_and_shown_what_the_faster_decided(
    desk: Client, frame: ReturnedFrame, bea: User
) -> None:
    address = page_of(frame, "frame-look")
    facts = {"key": key(), "polymer": "ours", "d_arm_left_snapped": "on"}
    carried = shown_and_carried(desk.post(address, facts).content.decode())
    faster = lookover.Look(findings=[Seen("front", "snapped")], polymer="ours")
    lookover.grade(key=key(), frame=frame, look=faster, at=NOON, by=bea)
    refused = desk.post(address, carried | {"take": "1"})
    assert refused.status_code == 422
    page = refused.content.decode()
    assert "Somebody has worked on this frame since you read it" in page
    assert "Decided so far: regrind" in page
    assert Grading.objects.get().decided == "regrind"
    assert desk.post(address, shown_and_carried(page) | {"take": "1"}).status_code == 302
    assert Grading.objects.count() == 2


def test_overruling_on_an_old_page_is_refused_once_then_taken(
    desk: Client, frame: ReturnedFrame, bea: User
) -> None:
    look = lookover.Look(findings=[Seen("arm_left", "snapped")], polymer="ours")
    lookover.grade(key=key(), frame=frame, look=look, at=NOON, by=bea)
    version = desk.get(page_of(frame)).context["overrule_form"]["seen_version"].value()
    lookover.record_wish(
        key=key(), frame=frame, wish="post_back", evidence="email", at=NOON, by=bea
    )
    wanted = {"key": key(), "outcome": "regrind", "reason": "brittle", "seen_version": version}
    refused = desk.post(page_of(frame, "frame-overrule"), wanted)
    assert refused.status_code == 422
    assert "post it back as it is" in refused.content.decode()
    newer = refused.context["overrule_form"]["seen_version"].value()
    answer = desk.post(page_of(frame, "frame-overrule"), wanted | {"seen_version": newer})
    assert answer.status_code == 302
    assert ReturnedFrame.objects.get().state == "to_return"


def _open_parts(page: str) -> list[str]:
    return re.findall(r'<details class="look-part[^>]* open><summary>([^<]+) <', page)


def test_look_over_opens_the_part_that_was_named_and_those_that_were_ticked(
    desk: Client, frame: ReturnedFrame
) -> None:
    address = page_of(frame, "frame-look")
    assert _open_parts(desk.get(address).content.decode()) == ["Left arm"]
    facts = {"key": key(), "polymer": "ours", "d_front_scuffed": "on"}
    facts["um_hinge_right_hole_offset"] = "far"
    answer = desk.post(address, facts)
    assert answer.status_code == 422
    page = answer.content.decode()
    assert _open_parts(page) == ["Front", "Left arm", "Right hinge"]
    assert ">right hinge: how far off its centre, mm: Write a length in mm" in page


def test_look_over_opens_the_hinge_of_an_arm_whose_screw_does_not_hold(
    desk: Client, shop: Shop, bea: User
) -> None:
    data = filed(shop.avocet_slate, component="arm_right", defect="stripped_hole")
    page = desk.get(page_of(on_shelf(shop, bea, data), "frame-look")).content.decode()
    assert _open_parts(page) == ["Right hinge"]


def test_measured_offset_is_read_with_a_comma_and_kept_in_micrometres(
    desk: Client, frame: ReturnedFrame
) -> None:
    facts = {"key": key(), "polymer": "ours", "um_hinge_left_hole_offset": "0,15 mm"}
    facts["take"] = "1"
    desk.post(page_of(frame, "frame-look"), facts)
    assert Grading.objects.get().findings.get().measured_um == 150


@pytest.mark.parametrize("typed", ["x", "-1", "50.001", "0.0001", "nan", "Infinity"])
def test_bad_measure_is_said_beside_its_field(
    desk: Client, frame: ReturnedFrame, typed: str
) -> None:
    facts = {"key": key(), "polymer": "ours", "um_hinge_left_hole_offset": typed}
    answer = desk.post(page_of(frame, "frame-look"), facts)
    assert answer.status_code == 422
    assert "um_hinge_left_hole_offset" in answer.context["form"].errors


def test_sound_with_findings_is_said_beside_the_tick(desk: Client, frame: ReturnedFrame) -> None:
    facts = {"key": key(), "polymer": "ours", "d_front_scuffed": "on", "found_sound": "on"}
    answer = desk.post(page_of(frame, "frame-look"), facts)
    assert answer.status_code == 422
    assert "found_sound" in answer.context["form"].errors


def test_form_without_any_field_is_refused_not_broken(desk: Client, frame: ReturnedFrame) -> None:
    for name in ("frame-look", "frame-overrule", "frame-wish", "frame-unweigh"):
        assert desk.post(page_of(frame, name), {}).status_code == 422


def test_overrule_and_wish_from_the_frame_page(desk: Client, shop: Shop, bea: User) -> None:
    frame = on_shelf(shop, bea)
    look = {"key": key(), "polymer": "ours", "d_arm_left_snapped": "on", "take": "1"}
    desk.post(page_of(frame, "frame-look"), look)
    wanted = {"key": key(), "outcome": "regrind", "reason": "past mending"}
    refused = desk.post(page_of(frame, "frame-overrule"), wanted)
    assert refused.status_code == 422
    assert "outcome" in refused.context["overrule_form"].errors
    data = {"key": key(), "wish": "regrind", "evidence": "email"}
    assert desk.post(page_of(frame, "frame-wish"), data).status_code == 302
    assert desk.post(page_of(frame, "frame-overrule"), wanted | {"key": key()}).status_code == 302
    page = desk.get(page_of(frame)).content.decode()
    holds, _heading, given = page.partition("What the sums said: Repair")
    assert "past mending" in holds
    assert "<h3>Plan</h3>" not in holds
    assert "min; expected to hold" in given.partition("which is not followed")[2]
    assert "min; expected to hold" not in holds


@pytest.mark.parametrize(
    ("wish", "choice", "decided"),
    [
        ("post_back", "post it back as it is", "Post it back as it is"),
        ("regrind", "take it apart and grind it", "Regrind"),
    ],
)
def test_held_frame_is_given_up_from_its_page_the_way_its_customer_wished(
    desk: Client, shop: Shop, bea: User, wish: str, choice: str, decided: str
) -> None:
    stock.count(key=key(), part=shop.arm, counted=0, reason="mislaid", at=NOON)
    frame = on_shelf(shop, bea, filed(shop.avocet_slate, wish=wish))
    look = {"key": key(), "polymer": "ours", "d_arm_left_snapped": "on", "take": "1"}
    desk.post(page_of(frame, "frame-look"), look)
    assert f"It cannot be mended: {choice}" in desk.get(page_of(frame)).content.decode()
    data = {"key": key(), "outcome": "regrind", "reason": "the arm never comes"}
    assert desk.post(page_of(frame, "frame-overrule"), data).status_code == 302
    assert f"Decision: {decided}" in desk.get(page_of(frame)).content.decode()
    assert ReturnedFrame.objects.get().state == {"post_back": "to_return"}.get(wish, "to_strip")


def test_weigh_in_is_undone_from_the_frame_page(desk: Client, frame: ReturnedFrame) -> None:
    answer = desk.post(page_of(frame, "frame-unweigh"), {"key": key(), "reason": "wrong tray"})
    assert answer.status_code == 302
    page = desk.get(page_of(frame)).content.decode()
    assert "wrong tray" in page
    assert page_of(frame, "frame-look") not in page


def test_graded_past_frame_sends_the_look_over_back(desk: Client, frame: ReturnedFrame) -> None:
    ReturnedFrame.objects.filter(pk=frame.pk).update(state="mending")
    assert desk.get(page_of(frame, "frame-look")).headers["Location"] == page_of(frame)


def test_go_finds_everything_by_code_number_or_link(
    desk: Client, frame: ReturnedFrame, shop: Shop
) -> None:
    assert frame.request is not None
    box = places.box(polymer=shop.pp, colour=shop.slate, origin="post_consumer_return")
    found = {
        frame.tag: page_of(frame),
        frame.tag.lower().replace("-", " "): page_of(frame),
        f"https://x.example.org/go/{frame.tag}/": page_of(frame),
        frame.parcel.code: reverse("parcel", args=[frame.parcel.code]),
        frame.request.reference: reverse("bench-request", args=[frame.request.reference]),
    }
    for typed, address in found.items():
        answer = desk.get(reverse("go"), {"code": typed})
        assert answer.headers["Location"] == address
    for typed in (box.code, "screw-m14", "bin-screw-m14"):
        assert desk.get(reverse("go"), {"code": typed}).status_code == 302
    assert desk.get(f"/go/{frame.tag}/").headers["Location"] == page_of(frame)


def test_a_code_that_ones_role_does_not_open_says_what_it_is_and_who_may(
    client: Client, frame: ReturnedFrame, shop: Shop, bea: User, acke: User
) -> None:
    assert frame.request is not None
    assert frame.request.person is not None
    box = places.box(polymer=shop.pp, colour=shop.slate, origin="post_consumer_return")
    number = Movement.objects.get(subject=frame.tag).number
    asked = [
        (acke, frame.parcel.code, "the code of a parcel", ["the bench", "the owner"]),
        (acke, frame.request.reference, "customer&#x27;s request", ["the bench", "the owner"]),
        (acke, box.code, "the code of a regrind box", ["the bench", "the owner"]),
        (bea, f"#{number}", "a movement in the ledger", ["the accounts", "the owner"]),
    ]
    for reader, code, named, openers in asked:
        client.force_login(reader)
        answer = client.get(reverse("go"), {"code": code})
        page = answer.content.decode()
        assert answer.status_code == 403
        assert named in page
        assert re.findall(r"<li>(the [a-z]+)</li>", page) == openers
        assert frame.request.person.name not in page
    client.force_login(acke)
    assert client.get(reverse("go"), {"code": frame.tag}).status_code == 302


@pytest.fixture
def labelled(desk: Client, frame: ReturnedFrame, shop: Shop, bea: User) -> dict[str, str]:
    """One thing of every kind that a label or a list names, and where its code leads."""
    assert frame.request is not None
    stripped = giving(shop, bea)
    data = StripDown(scale=shop.fine_scale, plastic="19.400 g", lenses="5.200 g", metal="220 mg")
    box = stripdown.strip(key=key(), frame=stripped, parts=data, at=NOON, by=bea).box
    assert box is not None
    run = grinding.propose(key=key(), box=box, at=NOON, by=bea)
    lot = Lot.objects.create(
        code=codes.new_code("L"), polymer=shop.pp, colour=shop.slate, origin=Origin.RETURN,
        made_at=NOON, heat=[[1, 1_000_000]],
    )  # fmt: skip
    sent = Dispatch.objects.create(
        code=codes.new_code("D"), kind=Dispatch.Kind.KIT, request=frame.request, key=key()
    )
    return {
        frame.tag: page_of(frame),
        frame.parcel.code: reverse("parcel", args=[frame.parcel.code]),
        frame.request.reference: reverse("bench-request", args=[frame.request.reference]),
        sent.code: reverse("bench-request", args=[frame.request.reference]),
        lot.code: reverse("heat", args=[lot.code]),
        run.code: reverse("run", args=[run.code]),
        box.code: f"{reverse('boxes')}#{box.code}",
        "screw-m14": f"{reverse('stock')}#bin-screw-m14",
        "bin-screw-m14": f"{reverse('stock')}#bin-screw-m14",
    }


TYPED = {
    "as printed": lambda code: code,
    "small, with spaces": lambda code: f"  {code.lower().replace('-', ' ').replace('_', ' ')} ",
    "without any sign": lambda code: code.replace("-", "").replace("_", "").upper(),
    "link": lambda code: f"https://frames.example.org/go/{code}/",
    "link in capitals": lambda code: f"HTTPS://FRAMES.EXAMPLE.ORG/GO/{code.upper()}",
    "link with more": lambda code: f"http://127.0.0.1:8000/go/{quote(code)}/?from=label#top",
}


@pytest.mark.parametrize("how", TYPED)
def test_every_label_is_found_however_its_code_is_typed(
    desk: Client, labelled: dict[str, str], how: str
) -> None:
    found = {
        code: desk.get(reverse("go"), {"code": TYPED[how](code)}).headers.get("Location")
        for code in labelled
    }
    assert found == labelled
    for address in labelled.values():
        assert desk.get(address).status_code == 200


@pytest.mark.parametrize("typed", ["{0}", "#{0}", " # {0} ", "http://127.0.0.1/go/{0}/"])
def test_a_movement_is_found_by_its_number(
    client: Client, frame: ReturnedFrame, olga: User, typed: str
) -> None:
    client.force_login(olga)
    number = Movement.objects.get(subject=frame.tag).number
    answer = client.get(reverse("go"), {"code": typed.format(number)})
    assert answer.headers["Location"] == reverse("movement", args=[number])


@pytest.mark.parametrize(
    "typed",
    ["F-2222-2222", "Q-7KDM-3XQX", "what", "#999999", "9" * 60, "²", "<script>", "\x00", "//evil"],
)
def test_go_says_what_to_do_when_nothing_is_there(desk: Client, shop: Shop, typed: str) -> None:
    answer = desk.get(reverse("go"), {"code": typed})
    assert answer.status_code == 404
    assert b"Nothing is under this code" in answer.content
    assert b"<script>" not in answer.content.replace(b"<script src", b"")


@pytest.mark.parametrize(
    "address", ["/go/F%00/", "/bench/frame/%00/", "/story/%00/", "/guide/%00/"]
)
def test_address_with_a_nul_is_a_plain_404(desk: Client, shop: Shop, address: str) -> None:
    assert desk.get(address).status_code == 404


@pytest.mark.parametrize("name", ["frame", "parcel", "bench-request", "frame-look", "lot-label"])
def test_unknown_code_is_a_plain_404(desk: Client, shop: Shop, name: str) -> None:
    assert desk.get(reverse(name, args=["F-0000-0000"])).status_code == 404


def test_request_page_shows_what_was_filed_and_not_by_whom(
    desk: Client, frame: ReturnedFrame
) -> None:
    assert frame.request is not None
    page = desk.get(reverse("bench-request", args=[frame.request.reference])).content.decode()
    assert "it went snap" in page
    assert frame.tag in page
    assert "Pim" not in page


def test_photo_is_served_to_the_bench_only(
    client: Client, frame: ReturnedFrame, bea: User, acke: User
) -> None:
    Photo.objects.create(
        request=frame.request, file_name="a1.jpg", width=4, height=3, added_at=NOON
    )
    folder = Path(live.MEDIA_ROOT) / "photos"
    folder.mkdir(parents=True)
    (folder / "a1.jpg").write_bytes(b"\xff\xd8 picture")
    address = reverse("frame-photo", args=["a1.jpg"])
    assert client.get(address).status_code == 302
    client.force_login(acke)
    assert client.get(address).status_code == 403
    client.force_login(bea)
    answer = client.get(address)
    assert answer.content == b"\xff\xd8 picture"
    assert answer.headers["Content-Type"] == "image/jpeg"
    assert client.get(reverse("frame-photo", args=["other.jpg"])).status_code == 404
    (folder / "a1.jpg").unlink()
    assert client.get(address).status_code == 404


def test_labels_open_as_pdf(desk: Client, frame: ReturnedFrame) -> None:
    box = reverse("label-calibration")
    for address in (
        page_of(frame, "frame-label"),
        reverse("parcel-label", args=[frame.parcel.code]),
        reverse("parcel-tags", args=[frame.parcel.code]) + "?sheet=1",
        box,
    ):
        answer = desk.get(address)
        assert answer.headers["Content-Type"] == "application/pdf"
        assert answer.content[:4] == b"%PDF"


def test_erased_customer_leaves_every_page_whole(
    desk: Client, frame: ReturnedFrame, bea: User
) -> None:
    Request.objects.update(person=None)
    Person.objects.all().delete()
    arriving.finish(key=key(), parcel=frame.parcel, at=NOON, by=bea)
    assert frame.request is not None
    for address in (
        page_of(frame),
        page_of(frame, "frame-look"),
        reverse("parcel", args=[frame.parcel.code]),
        reverse("bench-request", args=[frame.request.reference]),
    ):
        assert desk.get(address).status_code == 200


def test_a_decision_to_repair_that_was_given_up_says_what_holds_now(
    desk: Client, shop: Shop, bea: User
) -> None:
    frame = needing(shop, bea)
    job = opened(frame, bea)
    data = "Mending was tried and given up. The frame is now: to strip."
    assert data not in desk.get(page_of(frame)).content.decode()
    mending.give_up(key=key(), job=job, reason="splits further", at=NOON, by=bea)
    assert data in desk.get(page_of(frame)).content.decode()


def test_a_strip_down_is_undone_from_the_frame_page(desk: Client, shop: Shop, bea: User) -> None:
    frame = giving(shop, bea)
    heaps = {"plastic": "19.400 g", "lenses": "5.200 g", "metal": "220 mg"}
    data = {"key": key(), "scale": shop.fine_scale.pk, **heaps}
    page = desk.post(page_of(frame, "strip"), data, follow=True).content.decode()
    assert f'href="{page_of(frame)}#undo">Undo it</a>' in page
    assert 'id="undo"' in page
    assert desk.post(page_of(frame, "frame-unstrip"), {"key": key()}).status_code == 422
    undone = {"key": key(), "reason": "wrong frame"}
    page = desk.post(page_of(frame, "frame-unstrip"), undone, follow=True).content.decode()
    assert "The strip-down is undone" in page
    assert "Strip it" in page
    assert ReturnedFrame.objects.get().state == "to_strip"


def test_where_it_can_no_longer_be_undone_the_page_says_why(
    desk: Client, shop: Shop, bea: User
) -> None:
    first, second = (giving(shop, bea) for _ in range(2))
    for frame in (first, second):
        data = StripDown(
            scale=shop.fine_scale, plastic="19.400 g", lenses="5.200 g", metal="220 mg"
        )
        stripdown.strip(key=key(), frame=frame, parts=data, at=NOON, by=bea)
    page = desk.get(page_of(first)).content.decode()
    assert "can no longer be undone" in page
    assert "filled or emptied since" in page
    assert 'id="undo"' not in page
    asked = desk.post(page_of(first, "frame-unstrip"), {"key": key(), "reason": "wrong frame"})
    assert asked.status_code == 422
    assert "filled or emptied since" in asked.content.decode()


def test_a_weigh_in_offers_its_undoing_at_once(desk: Client, shop: Shop, bea: User) -> None:
    parcel = booked(bea)
    address = reverse("parcel", args=[parcel.code])
    page = desk.post(address, weigh_facts(shop), follow=True).content.decode()
    frame = ReturnedFrame.objects.get()
    assert f"{page_of(frame)}#undo" in page
    assert 'id="undo"' in desk.get(page_of(frame)).content.decode()


def test_a_stock_action_names_its_movement_and_who_can_reverse_it(
    desk: Client, client: Client, shop: Shop, olga: User
) -> None:
    data = {"part": shop.arm.code, "pieces": 5, "cost": ""}
    address = reverse("stock-action", args=["parts-receive"])
    page = desk.post(address, {"key": key(), **data}, follow=True).content.decode()
    number = Movement.objects.latest("number").number
    assert f"reverse movement #{number}" in page
    client.force_login(olga)
    page = client.post(address, {"key": key(), **data}, follow=True).content.decode()
    assert f'href="{reverse("movement", args=[number + 1])}">Undo it</a>' in page


def test_boxes_and_lots_are_printed_on_sheets(desk: Client, shop: Shop) -> None:
    assert desk.get(reverse("label-sheet", args=["boxes"])).status_code == 404
    places.box(polymer=shop.pp, colour=shop.slate, origin=Origin.RETURN)
    answer = desk.get(reverse("label-sheet", args=["boxes"]))
    assert (answer.status_code, answer.headers["Content-Type"]) == (200, "application/pdf")
    assert answer.content.startswith(b"%PDF-")
    assert (
        reverse("label-sheet", args=["boxes"]) in desk.get(reverse("bench-labels")).content.decode()
    )
    assert desk.get(reverse("label-sheet", args=["nonsense"])).status_code == 404


def test_labels_page_shows_what_came_last_and_finds_the_rest(
    desk: Client, shop: Shop, bea: User
) -> None:
    frames = [on_shelf(shop, bea, filed(shop.avocet_slate)) for _ in range(6)]
    places.box(polymer=shop.pp, colour=shop.slate, origin=Origin.RETURN)

    def printed(**sought: str) -> list[str]:
        page = desk.get(reverse("bench-labels"), sought).content.decode()
        return re.findall(r'<span class="code nowrap">(.*?)</span>', page)

    recent = [code for code in printed() if code.startswith("F-")]
    assert len(recent) == 5
    (older,) = {frame.tag for frame in frames} - set(recent)
    assert printed(q=older[2:].replace("-", " ").lower()) == [older]
    assert printed(q=frames[0].request.reference) == [frames[0].tag]
    assert "PP · Slate" in printed(q="slate")
    assert printed(q="Hinge screw M1.4") == ["Hinge screw M1.4"]
    assert printed(q="- -") == printed(q="nothing has this") == []


def test_a_held_strangers_page_leads_to_its_discarding(desk: Client, shop: Shop, bea: User) -> None:
    frame = on_shelf(shop, bea, filed(shop.avocet_slate), colourway=None, is_stranger=True)
    desk.post(page_of(frame, "frame-look"), {"key": key(), "polymer": "foreign", "take": "1"})
    assert ReturnedFrame.objects.get().state == "held"
    assert page_of(frame, "strip") in desk.get(page_of(frame)).content.decode()


def test_a_frame_that_is_sold_no_more_is_weighed_in_as_what_it_is(
    desk: Client, shop: Shop, bea: User
) -> None:
    parcel = booked(bea, filed(shop.avocet_slate))
    Colourway.objects.update(active=False)
    desk.post(reverse("parcel", args=[parcel.code]), weigh_facts(shop))
    assert ReturnedFrame.objects.get().colourway == shop.avocet_slate


def test_colour_that_was_wrong_at_the_weigh_in_is_chosen_anew_at_the_look_over(
    desk: Client, shop: Shop, frame: ReturnedFrame
) -> None:
    form = desk.get(page_of(frame, "frame-look")).content.decode()
    assert f'<option value="{shop.avocet_slate.pk}" selected>' in form
    data = {"key": key(), "polymer": "ours", "colourway": shop.avocet_moss.pk, "take": "1"}
    desk.post(page_of(frame, "frame-look"), data | {"d_arm_left_snapped": "on"})
    assert ReturnedFrame.objects.get().colourway == shop.avocet_moss


@pytest.mark.parametrize(("state", "is_led"), [("to_return", True), ("mending", False)])
def test_page_leads_back_to_the_look_over_while_nothing_was_done(
    desk: Client, frame: ReturnedFrame, state: str, is_led: bool
) -> None:
    ReturnedFrame.objects.update(state=state)
    assert (page_of(frame, "frame-look") in desk.get(page_of(frame)).content.decode()) == is_led
