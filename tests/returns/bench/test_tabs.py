"""The bench's tabs stand on each of its pages, with what waits behind each."""

from __future__ import annotations

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse
from lxml import html

from returns.bench.queries import queue
from tests.makers import Shop
from tests.returns import workroom_makers as workroom
from tests.returns.bench_makers import booked, filed, on_shelf
from tests.returns.customer_makers import asked_screws

pytestmark = pytest.mark.django_db
TABS = [
    "Today",
    "Arrivals",
    "Look-over",
    "Mend",
    "Strip",
    "Boxes and runs",
    "Stock",
    "Post",
]


def tabs(page: bytes) -> dict[str, str]:
    """Each tab's label with its number; the current one is in capitals."""
    found = html.fromstring(page).xpath("//nav[@class='tabs']//a")
    data = {}
    for one in found:
        label, _space, count = " ".join(one.text_content().split()).rpartition(" ")
        if not count.isdigit():
            label, count = " ".join(one.text_content().split()), ""
        data[label.upper() if one.get("aria-current") else label] = count
    return data


def test_numbers_come_in_one_question_and_match_what_the_tabs_list(
    client: Client,
    shop: Shop,
    bea: User,
    django_assert_num_queries: object,
) -> None:
    client.force_login(bea)
    booked(bea)
    on_shelf(shop, bea)
    workroom.opened(workroom.graded(shop, bea, workroom.POLISH), bea)
    workroom.graded(shop, bea, workroom.POLISH)
    workroom.mended(shop, bea)
    asked_screws(shop)
    with django_assert_num_queries(1):  # type: ignore[operator]
        counts = queue.tab_counts()
    assert {name: counts[name] for name in ("look", "mend", "mending", "post", "kits")} == {
        "look": 1,
        "mend": 1,
        "mending": 1,
        "post": 1,
        "kits": 1,
    }
    shown = tabs(client.get(reverse("bench")).content)
    assert [label.title() for label in shown] == [label.title() for label in TABS]
    assert (shown["Mend"], shown["Post"], shown["TODAY"]) == ("2", "2", "")
    page = client.get(reverse("bench") + "?step=at-mend").content
    assert "MEND" in tabs(page)
    assert "To mend and being mended" in page.decode()
    assert len(html.fromstring(page).xpath("//section[@id='queue']//tbody/tr")) == 2


def test_each_page_belongs_to_a_tab_and_an_accountant_sees_none(
    client: Client, shop: Shop, bea: User, acke: User
) -> None:
    request = filed(shop.avocet_slate)
    frame = on_shelf(shop, bea, request)
    client.force_login(bea)
    for name, argument, tab in (
        ("bench-request", request.reference, "ARRIVALS"),
        ("parcel", frame.parcel.code, "ARRIVALS"),
        ("frame", frame.tag, "LOOK-OVER"),
        ("frame-look", frame.tag, "LOOK-OVER"),
        ("mend", frame.tag, "MEND"),
        ("strip", frame.tag, "STRIP"),
        ("post-frame", frame.tag, "POST"),
    ):
        assert tab in tabs(client.get(reverse(name, args=[argument])).content), name
    for name, tab in (("counter", "ARRIVALS"), ("partner-box", "ARRIVALS")):
        assert tab in tabs(client.get(reverse(name)).content), name
    for name, tab in (("boxes", "BOXES AND RUNS"), ("stock", "STOCK"), ("kits", "POST")):
        assert tab in tabs(client.get(reverse(name)).content), name
    client.force_login(acke)
    assert tabs(client.get(reverse("frame", args=[frame.tag])).content) == {}
