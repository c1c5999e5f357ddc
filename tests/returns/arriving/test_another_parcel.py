"""A second parcel for one slip is asked about, on the page and in the API."""

from __future__ import annotations

import pytest
from django.contrib.auth.models import User
from django.test import Client

from returns.models import Parcel
from tests.api.callers import machine, pointers, refused
from tests.makers import Shop, key
from tests.returns import customer_makers as customers

pytestmark = pytest.mark.django_db


def test_the_api_asks_and_takes_it_when_it_is_said(shop: Shop, bea: User) -> None:
    bench, slip = machine(bea, "bench"), {"request": customers.sent_back(shop).reference}
    first = bench.post("parcels/", slip, key="first-parcel")
    assert first.status_code == 201
    body = refused(bench.post("parcels/", slip), 400, "bad-input")
    assert pointers(body) == {"#/is_another"}
    assert first.json()["code"] in str(body)
    assert Parcel.objects.count() == 1
    # A repeat of the first is no second one.
    assert bench.post("parcels/", slip, key="first-parcel").json() == first.json()
    assert bench.post("parcels/", slip | {"is_another": True}).status_code == 201
    assert bench.post("parcels/", {}).status_code == 201
    assert bench.post("parcels/", {}).status_code == 201


def test_the_page_asks_and_takes_it_when_it_is_ticked(shop: Shop, bea: User) -> None:
    client = Client()
    client.force_login(bea)
    reference = customers.sent_back(shop).reference
    assert "same slip" not in client.get("/bench/parcel/book/").content.decode()
    form = {"request": reference}
    assert client.post("/bench/parcel/book/", form | {"key": str(key())}).status_code == 302
    asked = client.post("/bench/parcel/book/", form | {"key": str(key())})
    assert asked.status_code == 422
    assert "It is another parcel with the same slip" in asked.content.decode()
    form |= {"key": str(key()), "is_another": "on"}
    assert client.post("/bench/parcel/book/", form).status_code == 302
    assert Parcel.objects.count() == 2
