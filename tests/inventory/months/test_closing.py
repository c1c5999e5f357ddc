"""Closing with open eyes: the figures, the warnings with a reason, and whose turn a blocker is."""

from __future__ import annotations

import re
from html import unescape

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from time_machine import travel

from inventory.errors import NotAcknowledged, NotFound, StaleState
from inventory.models import ClassPrice, Month
from inventory.months import rules as months
from inventory.months.pages import waiting
from inventory.months.queries import audit, chain, recovered, warnings
from inventory.weighing import rules as weighing
from returns.arriving import rules as arriving
from returns.desk import pages as desk
from tests.inventory import month_makers as made
from tests.inventory.month_makers import NOV_2, OCT, at, box, move
from tests.makers import Shop, key

pytestmark = [pytest.mark.django_db, pytest.mark.edge]

REASON = "the tare of the bucket was taken off twice"


@pytest.fixture
def warned(shop: Shop) -> Shop:
    """A box into which 20 g went and out of which a count took 5 g more than it says."""
    made.weighed_in("F-AAAA-1111", 20_000)
    made.stripped(shop, "F-AAAA-1111", "20.000 g")
    reading = weighing.read(scale=shop.fine_scale, typed="15.000 g", at=OCT)
    legs = (box(shop), at(made.PlaceKind.UNEXPLAINED), 5_000)
    move("count_mass", legs, reason="weighed again", reading=reading)
    shop.fine_scale.check_due = None
    shop.fine_scale.save()
    late = weighing.read(scale=shop.fine_scale, typed="1.000 g", at=OCT)
    move("count_mass", (at(made.PlaceKind.UNEXPLAINED), box(shop), 1_000), reason="r", reading=late)
    for label in ("2026-08", "2026-09"):
        months.close(key=key(), label=label, at=NOV_2, by=None)
    return shop


def close(**facts: str) -> Month:
    return months.close(key=key(), label="2026-10", at=NOV_2, by=None, **facts)


def test_month_with_warnings_is_not_closed_without_a_reason(warned: Shop) -> None:
    with pytest.raises(NotAcknowledged) as refused:
        close()
    assert refused.value.facts["warnings"]
    assert not Month.objects.filter(label="2026-10").exists()


def test_reason_and_warnings_are_kept_under_the_digest(warned: Shop) -> None:
    found = [[one.code, one.subject] for one in warnings.of_report(recovered.of_month("2026-10"))]
    month = close(acknowledged=REASON)
    assert month.figures["acknowledged"] == {"reason": REASON, "warnings": found}
    held = dict(month.balances.values_list("place", "quantity"))
    frozen = month.figures | {"acknowledged": {"reason": "another", "warnings": found}}
    args = (month.label, month.previous_digest, held)
    assert chain.digest(*args, month.figures) == month.digest
    assert chain.digest(*args, frozen) != month.digest
    assert all(check.ok for check in audit.check())


def test_figures_that_changed_since_they_were_read_are_refused(shop: Shop) -> None:
    made.weighed_in("F-AAAA-1111", 20_000)
    for label in ("2026-08", "2026-09"):
        months.close(key=key(), label=label, at=NOV_2, by=None)
    seen = recovered.digest(recovered.of_month("2026-10"))
    made.weighed_in("F-AAAA-2222", 21_000)
    with pytest.raises(StaleState):
        close(seen=seen)
    close(seen=recovered.digest(recovered.of_month("2026-10")))


def test_close_page_shows_figures_and_warnings_and_takes_the_reason(
    client: Client, warned: Shop, acke: User
) -> None:
    address = reverse("month-close", args=["2026-10"])
    with travel(NOV_2, tick=False):
        client.force_login(acke)
        page = unescape(client.get(address).content.decode())
        for one in warnings.of_report(recovered.of_month("2026-10")):
            assert one.text in page
        seen = re.search(r'name="seen" value="([0-9a-f]{64})"', page)
        assert seen is not None
        form = {"key": str(key()), "sure": "on", "seen": seen[1]}
        refused = client.post(address, form)
        assert "Say why it may be closed" in refused.content.decode()
        client.post(address, form | {"key": str(key()), "acknowledged": REASON})
    assert Month.objects.get(label="2026-10").figures["acknowledged"]["reason"] == REASON
    with travel(NOV_2, tick=False):
        assert REASON in client.get(reverse("month", args=["2026-10"])).content.decode()


@pytest.fixture
def blocked(shop: Shop, bea: User) -> str:
    """A parcel of October that nobody has opened; its code."""
    made.weighed_in("F-AAAA-1111", 20_000)
    for label in ("2026-08", "2026-09"):
        months.close(key=key(), label=label, at=NOV_2, by=None)
    return str(arriving.book(key=key(), request=None, at=OCT, by=bea).code)


def test_desk_says_what_waits_for_the_accountant(blocked: str) -> None:
    (month,) = [note for note in waiting.notes(NOV_2) if "2026-10" in note.text]
    assert "keeps it open" in month.text or "keep it open" in month.text
    assert month.path == reverse("month", args=["2026-10"])


def test_bench_is_asked_and_its_desk_says_so_until_it_is_settled(
    client: Client, blocked: str, acke: User, bea: User
) -> None:
    with travel(NOV_2, tick=False):
        client.force_login(acke)
        page = client.get(reverse("month", args=["2026-10"])).content.decode()
        assert f"Ask the bench for {blocked}" in page
        sent = {"key": str(key()), "subject": blocked}
        client.post(reverse("month-ask", args=["2026-10"]), sent)
        again = client.get(reverse("month", args=["2026-10"])).content.decode()
        assert "The bench was asked" in again
        assert any(blocked in note.text for note in desk.bench_notes(timezone.now()))
    parcel = arriving.Parcel.objects.get(code=blocked)
    arriving.finish(key=key(), parcel=parcel, at=NOV_2, by=bea)
    assert desk.bench_notes(NOV_2) == []


def test_bench_is_not_asked_for_what_keeps_nothing_open(blocked: str, acke: User) -> None:
    with pytest.raises(NotFound):
        months.ask_bench(key=key(), label="2026-10", subject="P-ZZZZ-ZZZZ", at=NOV_2, by=acke)


def test_no_link_of_the_accountant_leads_to_a_refusal_or_to_nothing(
    client: Client, blocked: str, warned_price: None, acke: User
) -> None:
    """From her desk over the links of every page, with a blocked month among them."""
    seen, edge = set[str](), ["/desk/", "/months/2026-10/"]
    with travel(NOV_2, tick=False):
        client.force_login(acke)
        for _click in range(2):
            following: list[str] = []
            for address in edge:
                answer = client.get(address, follow=True)
                assert answer.status_code == 200, address
                text = answer.content.decode(errors="replace")
                assert "No movement fits" not in text, address
                following += re.findall(r'<a [^>]*href="(/[^"#]*)', text)
            seen |= set(edge)
            edge = sorted(one_of_each(following) - seen)
    assert {"/books/", "/months/2026-10/report/"} <= seen | set(edge)


def one_of_each(links: list[str]) -> set[str]:
    """One address of each shape. Files take long to make, and signing out would end the walk."""
    shapes = {re.sub(r"[A-Z]-[\w-]+|\d+", "0", link): unescape(link) for link in links}
    return {one for one in shapes.values() if not re.search(r"/files/|/pdf/|leave|language", one)}


@pytest.fixture
def warned_price(shop: Shop) -> None:
    ClassPrice.objects.create(polymer=shop.pp, origin="virgin", price_minor_per_kg=95)
