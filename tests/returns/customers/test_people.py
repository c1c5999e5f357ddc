"""Addresses by country, erasing a person, keeping time, handing out what is held."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import timedelta

import pytest
from django.contrib.auth.models import User

from inventory.errors import BadInput, Conflict
from inventory.models import Balance, Event, Movement
from returns import tasks
from returns.customers import rules as people
from returns.customers import sums as addresses
from returns.filing.rules import intake, photos
from returns.kits import queries as kit_stock
from returns.kits.rules import kits
from returns.models import Person, Photo, Request
from tests.makers import NOON, Shop, key
from tests.returns.customer_makers import WANDA, asked_screws, sent_back

# Postal codes below are constructed: the shape is that of the country, the place need not exist.


@pytest.mark.parametrize(
    ("country", "good", "bad"),
    [
        ("DE", "12345", "1234"),
        ("AT", "1234", "12345"),
        ("CH", "1234", "123"),
        ("GB", "ab1 2cd", "12345"),
        ("IE", "a12 bc34", "A1 BC34"),
        ("FR", "12345", "1234A"),
        ("NL", "1234 ab", "1234"),
        ("US", "12345-6789", "1234-56789"),
        ("CA", "a1a 1a1", "111 AAA"),
        ("PL", "12-345", "12345"),
        ("PT", "1234-567", "1234567"),
        ("SE", "123 45", "12 345"),
        ("JP", "123-4567", "12-34567"),
        ("BR", "12345-678", "1234-5678"),
        ("DE", "12345", "１２３４５"),
    ],
)
def test_postal_code_has_its_countrys_shape(country: str, good: str, bad: str) -> None:
    there = replace(WANDA, country=country, region="R")
    assert people.address_slips(replace(there, postal_code=good)) == {}
    assert list(people.address_slips(replace(there, postal_code=bad))) == ["postal_code"]


@pytest.mark.parametrize(
    ("country", "missing"),
    [("DE", "postal_code"), ("DE", "city"), ("US", "region"), ("HK", "city"), ("FJ", "street")],
)
def test_required_part_is_asked_for(country: str, missing: str) -> None:
    full = replace(WANDA, country=country, region="R")
    code = addresses.shape_of(country).example
    full = replace(full, postal_code=code or full.postal_code)
    assert people.address_slips(full) == {}
    assert list(people.address_slips(replace(full, **{missing: " "}))) == [missing]


def test_a_persian_name_keeps_its_joiner_and_nothing_else_unseen_passes() -> None:
    name = "\u0639\u0644\u06cc\u200c\u0631\u0636\u0627"
    assert people.checked(replace(WANDA, name=f"{name}\u200c ")).name == name
    for bad in ("\u200c", "Wanda\nReed", "Wanda\u202eReed", "Wanda\x00"):
        with pytest.raises(BadInput):
            people.checked(replace(WANDA, name=bad))


def test_parts_that_a_country_does_without_may_stay_empty() -> None:
    assert people.address_slips(replace(WANDA, country="HK", postal_code="")) == {}
    assert people.address_slips(replace(WANDA, country="IE", postal_code="")) == {}
    assert people.address_slips(replace(WANDA, country="FJ", postal_code="", city="")) == {}


@pytest.mark.parametrize("country", ["", "D", "DEU", "1A", "ßß"])
def test_country_is_a_two_letter_code(country: str) -> None:
    assert list(people.address_slips(replace(WANDA, country=country))) == ["country"]


@pytest.mark.parametrize("code", sorted(addresses.SHAPES))
def test_every_example_fits_its_own_shape(code: str) -> None:
    shape = addresses.SHAPES[code]
    place = replace(WANDA, country=code, region="R", postal_code=shape.example)
    assert people.address_slips(place) == {}
    assert bool(shape.example) == bool(shape.pattern)


def ended(shop: Shop) -> Request:
    request = intake.withdraw(key=key(), request=sent_back(shop), at=NOON)
    assert request.person is not None
    return request


@pytest.mark.django_db
def test_erasing_leaves_nothing_of_the_person(shop: Shop) -> None:
    request = ended(shop)
    picture = photos.Picture(b"jpeg", 1, 1)
    photos.keep(request=request, pictures=[picture], at=NOON)
    before = request.link_salt
    people.erase(key=key(), person=request.person, at=NOON)  # type: ignore[arg-type]
    held = str(list(Person.objects.values())) + str(list(Request.objects.values()))
    for private in ("Wanda", "wanda", "Towpath", "12345", "Saltmarsh", "fell off", before):
        assert private not in held
    assert not Photo.objects.exists()


@pytest.mark.django_db
def test_erasing_twice_under_one_key_is_one_event(shop: Shop) -> None:
    request, same = ended(shop), key()
    for _ in range(2):
        people.erase(key=same, person=request.person, at=NOON)  # type: ignore[arg-type]
    assert Event.objects.filter(name="people.erase").count() == 1


@pytest.mark.django_db
def test_erasing_with_an_open_request_is_refused(shop: Shop) -> None:
    request = sent_back(shop)
    with pytest.raises(Conflict, match=request.reference):
        people.erase(key=key(), person=request.person, at=NOON)  # type: ignore[arg-type]


@pytest.mark.django_db
def test_erasing_changes_no_figure(shop: Shop, bea: User) -> None:
    request = asked_screws(shop)
    kits.post(key=key(), request=request, at=NOON, by=bea)
    kits.settle_posted(NOON + kit_stock.SETTLED_AFTER)
    before = (list(Movement.objects.values()), list(Balance.objects.values()))
    people.erase(key=key(), person=request.person, at=NOON)  # type: ignore[arg-type]
    assert (list(Movement.objects.values()), list(Balance.objects.values())) == before


@pytest.mark.django_db
def test_person_expires_only_after_the_retention_time(shop: Shop) -> None:
    request = ended(shop)
    days = timedelta(days=shop.workshop.retention_days)
    assert people.expired(NOON + days) == []
    assert people.expired(NOON + days + timedelta(seconds=1)) == [request.person]


@pytest.mark.django_db
def test_prune_ends_erases_and_can_run_again(shop: Shop) -> None:
    request = sent_back(shop)
    days = timedelta(days=shop.workshop.retention_days)
    assert tasks.prune(NOON + days)["lapsed"] == 1
    late = NOON + 2 * days + timedelta(seconds=1)
    assert tasks.prune(late)["erased"] == 1
    assert set(tasks.prune(late).values()) == {0}
    request.refresh_from_db()
    assert request.person is not None
    assert request.person.erased_at == late


@pytest.mark.django_db
def test_export_holds_what_the_person_gave_and_is_json(shop: Shop) -> None:
    request = sent_back(shop)
    data = people.export(request.person)  # type: ignore[arg-type]
    text = json.dumps(data)
    for given in ("Wanda Reed", "wanda@example.org", "7 Towpath", "fell off", request.reference):
        assert given in text
    assert "link" not in text
