"""The owner answers a customer who asks for a copy of their data, or for its deletion."""

from __future__ import annotations

from typing import Any

import pytest
from django.contrib.auth.models import User
from django.db.models import Model
from django.test import Client

from inventory.models import Balance, Event, Movement, OutboxMessage
from returns.filing.rules import intake, photos
from returns.kits import queries as kit_stock
from returns.kits.rules import kits
from returns.models import Person, Photo, Request
from tests.makers import NOON, Shop, key
from tests.returns.customer_makers import WANDA, arrived, asked_screws, sent_back

pytestmark = pytest.mark.django_db

# Columns that say nothing about a person, or that would open their story to whoever has the copy.
NOT_IN_THE_COPY = {
    Person: {"id", "erased_at"},
    Request: {"id", "person", "key", "link_salt", "link_hash"},
    Photo: {"id", "request", "width", "height"},
}
PRIVATE = ("Wanda", "wanda", "Towpath", "12345", "Saltmarsh", "fell off")


def columns(model: type[Model]) -> set[str]:
    return {field.name for field in model._meta.concrete_fields}


def withdrawn(shop: Shop, **changes: Any) -> Request:
    request = intake.withdraw(key=key(), request=sent_back(shop, **changes), at=NOON)
    photos.keep(request=request, pictures=[photos.Picture(b"jpeg", 1, 1)], at=NOON)
    return request


def address(request: Request, action: str = "") -> str:
    return f"/owner/personal/{request.reference}/{action}"


def erased(owner: Client, request: Request, **changes: Any) -> Any:
    return owner.post(address(request, "erase/"), {"key": str(key()), "sure": "on"} | changes)


def copied(owner: Client, request: Request, the_key: object = None) -> Any:
    return owner.post(address(request, "copy.json"), {"key": str(the_key or key())})


@pytest.mark.parametrize("change", [str.lower, lambda text: text.replace("-", " "), str.strip])
def test_a_reference_is_found_however_it_is_written(owner: Client, shop: Shop, change: Any) -> None:
    request = sent_back(shop)
    answer = owner.post("/owner/personal/", {"reference": change(request.reference)})
    assert answer.headers["Location"] == address(request)


@pytest.mark.parametrize("typed", ["", "Q-2222-2222", "Wanda Reed", "F-2222-2222", "\0", "Q" * 300])
def test_a_wrong_reference_is_said_and_leads_nowhere(owner: Client, shop: Shop, typed: str) -> None:
    answer = owner.post("/owner/personal/", {"reference": typed})
    assert answer.status_code == 400
    assert "Not found" in answer.content.decode()


@pytest.mark.parametrize("action", ["", "erase/"])
def test_an_unknown_address_is_a_plain_404(owner: Client, shop: Shop, action: str) -> None:
    assert owner.get(f"/owner/personal/Q-2222-2222/{action}").status_code == 404


def test_the_page_shows_name_and_email_and_no_address(owner: Client, shop: Shop) -> None:
    request, other = sent_back(shop), withdrawn(shop)
    answer = owner.get(address(request))
    text = answer.content.decode()
    assert answer.headers["Cache-Control"] == "no-store"
    for shown in ("Wanda Reed", "wanda@example.org", other.reference, "withdrawn"):
        assert shown in text
    for hidden in ("Towpath", "Saltmarsh", "fell off"):
        assert hidden not in text


def test_the_page_leads_to_the_photos_that_the_copy_names(owner: Client, shop: Shop) -> None:
    request = withdrawn(shop)
    name = copied(owner, request).json()["requests"][0]["photos"][0]["file_name"]
    assert f"/bench/photo/{name}" in owner.get(address(request)).content.decode()


def test_the_copy_has_every_column_that_may_be_personal(owner: Client, shop: Shop) -> None:
    request = withdrawn(shop)
    assert isinstance(request.person, Person)
    answer = copied(owner, request)
    assert answer.headers["Cache-Control"] == "no-store"
    assert f'filename="{request.reference}.json"' in answer.headers["Content-Disposition"]
    data = answer.json()
    assert set(data["contact"]) == columns(Person) - NOT_IN_THE_COPY[Person]
    for name in data["contact"]:
        assert data["contact"][name] == getattr(request.person, name)
    (filed,) = data["requests"]
    assert columns(Request) - NOT_IN_THE_COPY[Request] <= set(filed)
    assert columns(Photo) - NOT_IN_THE_COPY[Photo] <= set(filed["photos"][0])
    assert filed["photos"][0]["file_name"] == request.photos.get().file_name


def test_what_erasing_changes_is_in_the_copy_or_is_the_link(owner: Client, shop: Shop) -> None:
    request = withdrawn(shop)
    Person.objects.update(extra="c/o Reed", region="Marsh", former_email="reed@example.org")
    Request.objects.update(carrier_number="RR 123 456")
    data = copied(owner, request).json()
    before = (Person.objects.values().get(), Request.objects.values().get())
    assert erased(owner, request).status_code == 302
    after = (Person.objects.values().get(), Request.objects.values().get())
    person, filed = (
        {name for name in old if old[name] != new[name]}
        for old, new in zip(before, after, strict=True)
    )
    assert person - {"erased_at"} == set(data["contact"]) - {"language"}
    assert filed - {"link_salt", "link_hash"} == {"note", "carrier_number"}
    assert data["requests"][0]["carrier_number"] == "RR 123 456"
    assert data["requests"][0]["note"] == before[1]["note"] != ""
    assert data["contact"]["extra"] == "c/o Reed"


def test_a_copy_is_an_event_once_a_key(owner: Client, olga: User, shop: Shop) -> None:
    request, same = sent_back(shop), key()
    assert copied(owner, request, same).json() == copied(owner, request, same).json()
    action = Event.objects.get(name="people.hand_out")
    assert (action.actor, action.detail) == (olga, {})


@pytest.mark.parametrize("sent", [{}, {"key": "x"}])
def test_a_copy_without_a_key_goes_back(owner: Client, shop: Shop, sent: dict[str, str]) -> None:
    request = sent_back(shop)
    assert owner.post(address(request, "copy.json"), sent).headers["Location"] == address(request)
    assert not Event.objects.filter(name="people.hand_out").exists()


def test_erasing_asks_first_says_what_stays_and_wants_a_tick(owner: Client, shop: Shop) -> None:
    request = withdrawn(shop)
    asked = owner.get(address(request, "erase/")).content.decode()
    for data in ("cannot be undone", "all masses", "backups", "Local law decides", "in the post"):
        assert data in asked
    answer = erased(owner, request, sure="")
    assert answer.status_code == 400
    assert "Tick this" in answer.content.decode()
    assert Person.objects.get().name == WANDA.name


def test_erasing_leaves_the_books_and_nothing_of_the_person(
    owner: Client, olga: User, bea: User, shop: Shop
) -> None:
    request = asked_screws(shop)
    kits.post(key=key(), request=request, at=NOON, by=bea)
    kits.settle_posted(NOON + kit_stock.SETTLED_AFTER)
    copied(owner, request)
    books = (list(Movement.objects.values()), list(Balance.objects.values()))
    answer = owner.post(address(request, "erase/"), {"key": str(key()), "sure": "on"}, follow=True)
    assert answer.status_code == 200
    assert "Nothing is left to hand out" in answer.content.decode()
    assert (list(Movement.objects.values()), list(Balance.objects.values())) == books
    assert Event.objects.get(name="people.erase").actor == olga
    held = "".join(
        str(list(rows.objects.values())) for rows in (Person, Request, Event, OutboxMessage)
    )
    for private in PRIVATE:
        assert private not in held + answer.content.decode()


def test_erasing_twice_is_one_event_under_any_key(owner: Client, shop: Shop) -> None:
    request, same = withdrawn(shop), str(key())
    for again in (same, same, str(key())):
        assert erased(owner, request, key=again).headers["Location"] == address(request)
    assert Event.objects.filter(name="people.erase").count() == 1
    assert owner.get(address(request, "erase/")).headers["Location"] == address(request)


def test_nothing_is_handed_out_once_it_is_erased(owner: Client, shop: Shop) -> None:
    request, same = withdrawn(shop), key()
    copied(owner, request, same)
    erased(owner, request)
    assert copied(owner, request, same).headers["Location"] == address(request)


def test_a_key_of_another_rule_erases_nothing(owner: Client, shop: Shop) -> None:
    request, same = withdrawn(shop), key()
    copied(owner, request, same)
    assert erased(owner, request, key=str(same)).status_code == 400
    assert Person.objects.get().erased_at is None


@pytest.mark.parametrize(
    ("state", "way_on"),
    [
        ("awaited", "wait for it"),
        ("arrived", "Finish it at the bench"),
        ("reserved", "or post the kit"),
        ("waiting_stock", "until the kit"),
        ("posted", "45 days"),
        ("reported_missing", "it turned up"),
    ],
)
def test_an_open_request_is_refused_and_what_ends_it_is_said(
    owner: Client, shop: Shop, state: str, way_on: str
) -> None:
    request = sent_back(shop) if state in ("awaited", "arrived") else asked_screws(shop)
    Request.objects.update(state=state)
    if state == "arrived":
        arrived(shop, request)
    assert way_on in owner.get(address(request)).content.decode()
    assert way_on in owner.get(address(request, "erase/")).content.decode()
    refused = erased(owner, request)
    assert refused.status_code == 400
    assert way_on in refused.content.decode()
    assert Person.objects.get().name == WANDA.name


def test_another_request_under_the_email_keeps_its_person(owner: Client, shop: Shop) -> None:
    request, other = withdrawn(shop), sent_back(shop)
    erased(owner, request)
    other.refresh_from_db()
    assert [person.pk for person in Person.objects.filter(email=WANDA.email)] == [other.person_id]


def test_a_request_without_a_person_holds_nothing(owner: Client, shop: Shop) -> None:
    request = withdrawn(shop)
    Request.objects.update(person=None)
    assert "We hold no personal data" in owner.get(address(request)).content.decode()
    assert erased(owner, request).status_code == 404


def test_no_log_line_names_the_person(
    owner: Client, shop: Shop, caplog: pytest.LogCaptureFixture, capsys: pytest.CaptureFixture[str]
) -> None:
    request = withdrawn(shop)
    owner.post("/owner/personal/", {"reference": request.reference})
    copied(owner, request)
    erased(owner, request)
    out = capsys.readouterr()
    for private in PRIVATE:
        assert private not in caplog.text + out.out + out.err
