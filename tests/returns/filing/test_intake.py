"""Filing, private links, withdrawing, changing the address, reporting a loss."""

from __future__ import annotations

import base64
from dataclasses import replace
from datetime import timedelta
from typing import Any
from uuid import UUID

import pytest

from inventory.errors import BadInput, Conflict, KeyReused, NotFound, StaleState
from inventory.models import Event, OutboxMessage
from returns.customers import rules as people
from returns.filing.rules import intake
from returns.filing.rules.intake import Filing
from returns.models import Dispatch, Person, Request
from returns.story.sums import codes
from tests.makers import NOON, Shop, key
from tests.returns.customer_makers import WANDA, arrived, asked_screws, filing, screws, sent_back

pytestmark = pytest.mark.django_db


def test_filing_a_return_awaits_the_parcel(shop: Shop) -> None:
    request = sent_back(shop)
    assert (request.kind, request.state) == ("send_back", "awaited")
    assert request.reference == codes.normalise(request.reference, prefix="Q")
    assert request.person is not None
    assert request.person.city == "Saltmarsh"
    assert [message.payload["letter"] for message in OutboxMessage.objects.all()] == ["filed"]


def test_same_key_and_content_returns_the_first_request(shop: Shop) -> None:
    same = key()
    first = intake.file_return(key=same, filing=filing(shop), at=NOON)
    again = intake.file_return(key=same, filing=filing(shop), at=NOON + timedelta(seconds=5))
    assert first == again
    assert (Request.objects.count(), Person.objects.count(), OutboxMessage.objects.count()) == (
        1,
        1,
        1,
    )


@pytest.mark.parametrize(
    "change",
    [
        {"note": "Something else"},
        {"wish": "post_back"},
        {"contact": replace(WANDA, street="8 Towpath")},
    ],
)
def test_same_key_with_other_content_is_refused(shop: Shop, change: dict[str, Any]) -> None:
    same = key()
    intake.file_return(key=same, filing=filing(shop), at=NOON)
    with pytest.raises(KeyReused):
        intake.file_return(key=same, filing=filing(shop, **change), at=NOON)


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"wish": ""}, "wish"),
        ({"wish": "burn"}, "wish"),
        ({"component": "nose"}, "component"),
        ({"defect": "sad"}, "defect"),
        ({"notice_version": "0"}, "notice"),
        ({"note": "x" * 501}, "note"),
        ({"note": "a\x00b"}, "note"),
        ({"contact": replace(WANDA, name=" ")}, "name"),
        ({"contact": replace(WANDA, name="Wanda\r\nBcc: x@example.org")}, "name"),
        ({"contact": replace(WANDA, email="wanda")}, "email"),
        ({"contact": replace(WANDA, email="wanda@example.org\nBcc: x@example.org")}, "email"),
        ({"contact": replace(WANDA, postal_code="1234")}, "postal_code"),
        ({"contact": replace(WANDA, country="Germany")}, "country"),
        ({"contact": replace(WANDA, street="x" * 121)}, "street"),
    ],
)
def test_bad_field_is_named_and_nothing_is_written(
    shop: Shop, change: dict[str, Any], field: str
) -> None:
    with pytest.raises(BadInput) as refused:
        sent_back(shop, **change)
    assert refused.value.field == field
    assert not Request.objects.exists()
    assert not Person.objects.exists()


def test_note_of_500_characters_is_kept(shop: Shop) -> None:
    assert len(sent_back(shop, note="x" * 500).note) == 500


def test_colourway_off_sale_is_refused(shop: Shop) -> None:
    shop.avocet_slate.active = False
    with pytest.raises(BadInput):
        sent_back(shop)


def test_link_secret_carries_256_bits_and_only_its_hash_is_stored(shop: Shop) -> None:
    request = sent_back(shop)
    secret = intake.link_secret(request)
    assert len(base64.urlsafe_b64decode(secret + "=")) == 32
    row = Request.objects.filter(pk=request.pk).values()[0]
    assert secret not in str(row)
    assert row["link_hash"] == codes.hash_secret(secret)
    assert intake.by_secret(secret) == request


def test_two_requests_have_two_links(shop: Shop) -> None:
    assert intake.link_secret(sent_back(shop)) != intake.link_secret(sent_back(shop))


@pytest.mark.parametrize("guess", ["", "x", "é" * 43, "x" * 5000])
def test_wrong_secret_finds_nothing(shop: Shop, guess: str) -> None:
    sent_back(shop)
    with pytest.raises(NotFound):
        intake.by_secret(guess)


def test_reference_salt_and_hash_open_nothing(shop: Shop) -> None:
    request = sent_back(shop)
    for guess in (request.reference, request.link_salt, request.link_hash):
        with pytest.raises(NotFound):
            intake.by_secret(guess)


def test_link_outlives_a_change_of_key_by_the_fallbacks(shop: Shop, settings: Any) -> None:
    request = sent_back(shop)
    secret = intake.link_secret(request)
    settings.SECRET_KEY_FALLBACKS = [settings.SECRET_KEY]
    settings.SECRET_KEY = "n" * 50
    assert intake.link_secret(request) == secret


def test_link_is_renewed_when_its_key_is_gone(shop: Shop, settings: Any) -> None:
    request = sent_back(shop)
    old = intake.link_secret(request)
    settings.SECRET_KEY = "n" * 50
    with pytest.raises(Conflict):
        intake.link_secret(request)
    new = intake.renewed_secret(request)
    assert intake.by_secret(new) == request
    with pytest.raises(NotFound):
        intake.by_secret(old)


def test_events_and_messages_hold_no_personal_data(shop: Shop) -> None:
    request = sent_back(shop)
    intake.change_address(
        key=key(), request=request, contact=replace(WANDA, street="9 Dyke Road"), at=NOON
    )
    written = str(list(Event.objects.values())) + str(list(OutboxMessage.objects.values()))
    for private in ("Wanda", "wanda", "Towpath", "Dyke", "12345", "Saltmarsh", "fell off"):
        assert private not in written


def test_withdrawing_an_awaited_return_ends_it(shop: Shop) -> None:
    request = intake.withdraw(key=key(), request=sent_back(shop), at=NOON)
    assert (request.state, request.ended_at) == ("withdrawn", NOON)


def test_withdrawing_twice_under_one_key_is_one_event(shop: Shop) -> None:
    request, same = sent_back(shop), key()
    for _ in range(2):
        intake.withdraw(key=same, request=request, at=NOON)
    assert Event.objects.filter(name="intake.withdraw").count() == 1


def test_withdrawing_what_has_arrived_is_refused(shop: Shop) -> None:
    request = sent_back(shop)
    Request.objects.filter(pk=request.pk).update(state="arrived")
    with pytest.raises(StaleState):
        intake.withdraw(key=key(), request=request, at=NOON)


def test_address_changes_while_awaited_but_the_email_stays(shop: Shop) -> None:
    request = sent_back(shop)
    moved = replace(WANDA, street="9 Dyke Road", email="stranger@example.org")
    intake.change_address(key=key(), request=request, contact=moved, at=NOON)
    assert request.person is not None
    assert (request.person.street, request.person.email) == ("9 Dyke Road", "wanda@example.org")


@pytest.mark.parametrize("state", ["posted", "settled", "withdrawn"])
def test_address_is_fixed_once_posted_or_over(shop: Shop, state: str) -> None:
    request = asked_screws(shop)
    Request.objects.filter(pk=request.pk).update(state=state)
    with pytest.raises(StaleState):
        intake.change_address(key=key(), request=request, contact=WANDA, at=NOON)


def test_one_persons_address_change_leaves_the_same_emails_other_request_alone(
    shop: Shop,
) -> None:
    first, second = sent_back(shop), sent_back(shop)
    moved = replace(WANDA, street="9 Dyke Road")
    intake.change_address(key=key(), request=second, contact=moved, at=NOON)
    assert first.person is not None
    first.person.refresh_from_db()
    assert first.person.street == "7 Towpath"


def test_no_address_is_said_to_be_too_late_that_nothing_was_posted_to(shop: Shop) -> None:
    request = sent_back(shop)
    intake.withdraw(key=key(), request=request, at=NOON)
    with pytest.raises(StaleState, match="has ended"):
        intake.change_address(key=key(), request=request, contact=WANDA, at=NOON)


def test_reporting_a_frame_missing_needs_a_dispatch(shop: Shop) -> None:
    request = sent_back(shop)
    with pytest.raises(StaleState):
        intake.report_missing(key=key(), request=request, at=NOON)


def test_reporting_a_posted_frame_missing_marks_the_dispatch_once(shop: Shop) -> None:
    request = sent_back(shop)
    sent = Dispatch.objects.create(
        code="D-1", key=key(), kind="mended", request=request, posted_at=NOON
    )
    intake.report_missing(key=key(), request=request, at=NOON)
    sent.refresh_from_db()
    assert sent.missing_reported_at == NOON
    with pytest.raises(StaleState):
        intake.report_missing(key=key(), request=request, at=NOON)


@pytest.mark.parametrize(
    ("component", "defect", "steered"),
    [
        ("screw_left", "missing", True),
        ("arm_left", "loose_screw", True),
        ("arm_left", "missing", False),
        ("screw_left", "snapped", False),
    ],
)
def test_loose_and_lost_screws_are_mended_at_home(
    component: str, defect: str, steered: bool
) -> None:
    assert intake.screws_would_do(component=component, defect=defect) is steered


def test_return_that_never_came_lapses_after_the_retention_time(shop: Shop) -> None:
    request = sent_back(shop)
    days = timedelta(days=shop.workshop.retention_days)
    assert intake.lapse(NOON + days - timedelta(seconds=1)) == []
    assert intake.lapse(NOON + days) == [request]
    assert intake.lapse(NOON + days) == []


def test_screws_ask_keeps_no_wish(shop: Shop) -> None:
    request = intake.ask_screws(key=key(), filing=screws(shop, wish="regrind"), at=NOON)
    assert request.wish == ""
    assert people.open_requests(request.person) == [request]  # type: ignore[arg-type]


def test_slower_of_two_that_file_at_once_gets_the_first_request(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    same = key()
    first = intake.file_return(key=same, filing=filing(shop), at=NOON)
    real, looks = intake.planned, []

    def planned(key_: UUID, filing_: Filing) -> Any:
        looks.append(key_)  # at the first look the faster one has not committed its salt yet
        return replace(real(key_ if len(looks) > 1 else key(), filing_), key=key_)

    monkeypatch.setattr(intake, "planned", planned)
    assert intake.file_return(key=same, filing=filing(shop), at=NOON) == first
    assert (len(looks), Person.objects.count()) == (2, 1)


@pytest.mark.parametrize(("ended_at", "open_still"), [(None, True), (NOON, False)])
def test_address_stays_open_while_lenses_of_a_ground_frame_wait(
    shop: Shop, ended_at: Any, open_still: bool
) -> None:
    request = sent_back(shop, lenses_back=True)
    Request.objects.filter(pk=request.pk).update(state="arrived")
    request.refresh_from_db()
    arrived(shop, request, state="ground", ended_at=ended_at)
    assert intake.may_change_address(request) is open_still
