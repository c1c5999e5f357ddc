"""Several troubles on one frame."""

from __future__ import annotations

from typing import Any

import pytest
from django.contrib.auth.models import User
from django.test import Client

from inventory.errors import BadInput, KeyReused
from inventory.models import Workshop
from returns.filing.rules import intake
from returns.letters.texts import Occasion, compose
from returns.models import Request
from tests.makers import NOON, Shop, key
from tests.returns.customer_makers import filing, sent_back
from tests.returns.filing.test_customer_filing import typed

pytestmark = pytest.mark.django_db

MORE = (("lens_left", "scuffed"), ("bridge", "cracked"))


def kept(request: Request) -> tuple[tuple[str, str], ...]:
    return tuple((one.component, one.defect) for one in request.troubles.all())


def test_the_form_takes_two_more_and_everybody_reads_them(
    client: Client, shop: Shop, bea: User
) -> None:
    more: dict[str, Any] = {
        "more_component_1": "lens_left",
        "more_defect_1": "scuffed",
        "more_component_2": "bridge",
        "more_defect_2": "cracked",
    }
    answer = client.post("/ask/return/", typed(shop) | more)
    request = Request.objects.get()
    assert kept(request) == MORE
    words = ("left lens: scuffed or scratched", "bridge: cracked somewhere else")
    letter = compose("filed", Occasion(request, None, Workshop.the()))
    story = client.get(answer["Location"]).content.decode()
    client.force_login(bea)
    bench = client.get(f"/bench/request/{request.reference}/").content.decode()
    for word in words:
        assert word in story
        assert word in "\n".join(letter.paragraphs)
    assert "bridge: " in bench


@pytest.mark.parametrize("half", ["more_component_1", "more_defect_2"])
def test_half_a_trouble_is_asked_for(client: Client, shop: Shop, half: str) -> None:
    value = "bridge" if "component" in half else "cracked"
    page = client.post("/ask/return/", typed(shop) | {half: value})
    assert "or neither" in page.content.decode()
    assert "<details open>" in page.content.decode()
    assert not Request.objects.exists()


def test_a_loose_screw_is_not_all_when_more_is_broken(client: Client, shop: Shop) -> None:
    loose = {"component": "screw_left", "defect": "loose_screw"}
    more = {"more_component_1": "bridge", "more_defect_1": "cracked"}
    assert client.post("/ask/return/", typed(shop) | loose | more).status_code == 302


@pytest.mark.parametrize(
    "more",
    [
        (("arm_left", "snapped"),),
        (MORE[0], MORE[0]),
        (*MORE, ("front", "warped")),
        (("nose", "snapped"),),
        (("bridge", "sad"),),
    ],
)
def test_troubles_that_will_not_do_are_refused(shop: Shop, more: Any) -> None:
    with pytest.raises(BadInput):
        intake.file_return(key=key(), filing=filing(shop, more=more), at=NOON)
    assert not Request.objects.exists()


def test_the_same_key_with_other_troubles_is_another_filing(shop: Shop) -> None:
    same = key()
    asked = filing(shop, more=MORE)
    first = intake.file_return(key=same, filing=asked, at=NOON)
    assert intake.file_return(key=same, filing=asked, at=NOON) == first
    with pytest.raises(KeyReused):
        intake.file_return(key=same, filing=filing(shop), at=NOON)


def test_other_troubles_are_no_twin(client: Client, shop: Shop) -> None:
    sent_back(shop, more=MORE)
    facts = typed(shop)
    assert client.post("/ask/return/", facts).status_code == 302
    again = client.post("/ask/return/", facts | {"key": key()})
    assert "You have filed this already" in again.content.decode()
