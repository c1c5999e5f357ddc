"""A customer who cannot tell the model, and one who sends another frame along."""

from __future__ import annotations

import re

import pytest
from django.contrib.auth.models import User
from django.db import IntegrityError
from django.test import Client

from inventory.errors import BadInput
from returns.filing.rules import intake
from returns.models import Request, Terms
from tests.makers import NOON, Shop, key
from tests.returns.customer_makers import screws, sent_back
from tests.returns.filing.test_customer_filing import typed

pytestmark = pytest.mark.django_db


def without_model(shop: Shop, **changes: object) -> dict[str, object]:
    facts = typed(shop) | {"unknown": "on"} | changes
    del facts["colourway"]
    return facts


def test_the_model_may_be_unknown_if_that_is_said(client: Client, shop: Shop) -> None:
    facts = without_model(shop)
    del facts["unknown"]
    page = client.post("/ask/return/", facts)
    assert "or tick that you do not know which" in page.content.decode()
    answer = client.post("/ask/return/", without_model(shop))
    assert Request.objects.get().colourway is None
    text = client.get(answer["Location"]).content.decode()
    assert "model not known" in text


def test_a_chosen_model_counts_beside_the_tick(client: Client, shop: Shop) -> None:
    facts = typed(shop) | {"unknown": "on"}
    client.post("/ask/return/", facts)
    assert Request.objects.get().colourway_id == facts["colourway"]


def test_bench_letter_and_slip_say_that_it_is_not_known(
    client: Client, shop: Shop, bea: User
) -> None:
    request = sent_back(shop, colourway=None)
    link = f"/story/{intake.link_secret(request)}/"
    assert client.get(f"{link}slip.pdf").status_code == 200
    client.force_login(bea)
    for path in (f"/bench/request/{request.reference}/", f"/go/{request.reference}/"):
        text = client.get(path, follow=True).content.decode()
        assert "model not known" in text
        assert "None" not in text


def test_a_loose_screw_of_an_unknown_frame_comes_to_us(client: Client, shop: Shop) -> None:
    facts = without_model(shop, component="screw_left", defect="loose_screw")
    assert client.post("/ask/return/", facts).status_code == 302


def test_screws_are_for_a_known_frame_only(shop: Shop) -> None:
    with pytest.raises(BadInput) as refused:
        intake.ask_screws(key=key(), filing=screws(shop, colourway=None), at=NOON)
    assert refused.value.field == "colourway"
    request = sent_back(shop, colourway=None)
    with pytest.raises(IntegrityError):
        Request.objects.filter(pk=request.pk).update(kind="spare_screws", wish="")


def test_where_the_name_stands_is_told_only_if_entered(client: Client, shop: Shop) -> None:
    assert "The name of the model stands" not in client.get("/ask/return/").content.decode()
    Terms.the()
    Terms.objects.update(name_place="inside the left arm")
    page = client.get("/ask/return/").content.decode()
    assert "The name of the model stands on the frame: inside the left arm." in page


def test_another_frame_needs_no_address(client: Client, shop: Shop) -> None:
    request = sent_back(shop)
    page = client.get(f"/story/{intake.link_secret(request)}/another/")
    text = page.content.decode()
    assert page["Cache-Control"] == "no-store"
    for name, value in (("email", "wanda@example.org"), ("street", "7 Towpath")):
        assert re.search(rf'name="{name}" value="{value}"', text)
    assert 'action="/ask/return/?send"' in text
    assert client.get("/story/none/another/").status_code == 404
