"""The private link: what it opens, what a reference does not, and what may be done behind it."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from typing import Any

import pypdf
import pytest
import time_machine
from django.contrib.auth.models import User
from django.test import Client
from django.utils import timezone

from inventory import outbox
from inventory.models import OutboxMessage
from returns.filing.pages import slip_pdf
from returns.filing.rules import intake, photos
from returns.kits.rules import kits
from returns.models import Request
from returns.story.sums import codes
from returns.templatetags.customer import whole_codes
from tests.makers import NOON, Shop, key
from tests.returns.customer_makers import WANDA, asked_screws, sent_back
from tests.returns.filing.test_customer_filing import picture

pytestmark = pytest.mark.django_db


def link(request: Request, rest: str = "") -> str:
    return f"/story/{intake.link_secret(request)}/{rest}"


def photo_of(request: Request) -> str:
    drawn = photos.redraw(io.BytesIO(picture()), size_bytes=100)
    return photos.keep(request=request, pictures=[drawn], at=NOON)[0].file_name


def test_story_shows_the_turns_and_what_is_next(client: Client, shop: Shop) -> None:
    page = client.get(link(sent_back(shop)))
    text = page.content.decode()
    assert page.status_code == 200
    assert "You told us that a frame is coming back." in text
    assert "14 Oct 2026, 12:00" in text
    assert "Print the slip" in text


@pytest.mark.parametrize("rest", ["", "withdraw/", "address/", "slip.pdf"])
def test_link_pages_are_not_stored_indexed_or_passed_on(
    client: Client, shop: Shop, rest: str
) -> None:
    answer = client.get(link(sent_back(shop), rest))
    assert answer.status_code == 200
    assert answer["Cache-Control"] == "no-store"
    assert "noindex" in answer["X-Robots-Tag"]
    assert answer["Referrer-Policy"] in ("same-origin", "no-referrer")


@pytest.mark.parametrize("rest", ["", "withdraw/", "address/", "missing/", "slip.pdf"])
def test_reference_or_a_guess_opens_nothing(client: Client, shop: Shop, rest: str) -> None:
    request = sent_back(shop)
    for guess in (request.reference, request.link_hash, "x" * 43, "%C3%A9", "x" * 400):
        answer = client.get(f"/story/{guess}/{rest}")
        assert answer.status_code == 404
        assert "Wanda" not in answer.content.decode()


def test_a_broken_link_leads_to_finding_the_request(client: Client) -> None:
    page = client.get("/story/no-such-secret/").content.decode()
    assert 'href="/find/">Find my request</a>' in page
    assert "Go back with your browser" not in page


def test_story_says_whose_turn_it_is(client: Client, shop: Shop, bea: User) -> None:
    request = sent_back(shop)
    assert "Your turn" in client.get(link(request)).content.decode()
    kit = asked_screws(shop)
    waiting = client.get(link(kit)).content.decode()
    kits.post(key=key(), request=kit, at=NOON, by=bea)
    posted = client.get(link(kit)).content.decode()
    assert "Your turn" not in waiting
    assert "You need do nothing now." in waiting
    assert "You need do nothing now." not in posted


def test_no_open_page_reveals_a_reference(client: Client, shop: Shop) -> None:
    request = sent_back(shop)
    for path in (f"/{request.reference}/", f"/story/{request.pk}/", f"/go/{request.reference}/"):
        answer = client.get(path, follow=True)
        assert "Wanda" not in answer.content.decode()
        assert "Towpath" not in answer.content.decode()


@pytest.mark.parametrize("size", ["a4", "a6"])
def test_slip_is_one_page_with_code_and_address(client: Client, shop: Shop, size: str) -> None:
    request = sent_back(shop)
    answer = client.get(link(request, f"slip.pdf?size={size}"))
    assert answer["Content-Type"] == "application/pdf"
    document = pypdf.PdfReader(io.BytesIO(answer.content))
    assert len(document.pages) == 1
    text = document.pages[0].extract_text()
    assert request.reference in text
    assert "Sluice Lane" in text
    width_mm = float(document.pages[0].mediabox.width) / 72 * 25.4
    assert round(width_mm) == {"a4": 210, "a6": 105}[size]
    assert "Wanda" not in text


@pytest.mark.slow
@pytest.mark.parametrize("size", ["a4", "a6"])
def test_slip_code_can_be_read_and_leads_to_the_bench(shop: Shop, size: str, settings: Any) -> None:
    import pypdfium2
    import zxingcpp

    request = sent_back(shop)
    page = pypdfium2.PdfDocument(slip_pdf.make(request, size=size))[0]
    image = page.render(scale=3).to_pil()
    read = zxingcpp.read_barcodes(image)
    assert [code.text for code in read] == [f"{settings.BASE_URL}/go/{request.reference}/"]


@pytest.mark.slow
def test_slip_refuses_to_fetch_anything(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    from weasyprint.urls import FatalURLFetchingError

    for address in ("file:///etc/hostname", "http://127.0.0.1:9/x", "data:image/png,x"):
        hostile = f'<img src="{address}">'
        monkeypatch.setattr(slip_pdf, "page", lambda *_filed, html=hostile, **_size: html)
        with pytest.raises(FatalURLFetchingError):
            slip_pdf.make(sent_back(shop), size="a4")


def test_workshop_address_cannot_inject_markup(shop: Shop) -> None:
    shop.workshop.address = '<img src="file:///etc/hostname">'
    shop.workshop.save()
    assert "&lt;img" in slip_pdf.page(sent_back(shop), size="a4")


def test_slip_of_a_kit_or_a_withdrawn_return_is_not_found(client: Client, shop: Shop) -> None:
    assert client.get(link(asked_screws(shop), "slip.pdf")).status_code == 404
    request = intake.withdraw(key=key(), request=sent_back(shop), at=NOON)
    assert client.get(link(request, "slip.pdf")).status_code == 404


def test_own_photo_opens_and_a_strangers_does_not(client: Client, shop: Shop) -> None:
    mine, other = sent_back(shop), sent_back(shop)
    name = photo_of(mine)
    answer = client.get(link(mine, f"photo/{name}/"))
    assert (answer.status_code, answer["Content-Type"]) == (200, "image/jpeg")
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert client.get(link(other, f"photo/{name}/")).status_code == 404
    assert client.get(link(mine, "photo/..%2Fsecret_key/")).status_code == 404


def test_bench_sees_photos_and_strangers_are_sent_to_the_entrance(
    client: Client, shop: Shop, bea: User, acke: User
) -> None:
    name = photo_of(sent_back(shop))
    assert client.get(f"/photo/{name}/").status_code == 302
    client.force_login(acke)
    assert client.get(f"/photo/{name}/").status_code == 403
    client.force_login(bea)
    assert client.get(f"/photo/{name}/").status_code == 200


def test_withdrawing_by_the_page(client: Client, shop: Shop) -> None:
    request = sent_back(shop)
    answer = client.post(link(request, "withdraw/"), {"key": str(key())})
    assert answer["Location"] == link(request)
    assert Request.objects.get().state == "withdrawn"
    assert "You withdrew the request." in client.get(link(request)).content.decode()


def test_withdrawing_too_late_says_so(client: Client, shop: Shop) -> None:
    request = sent_back(shop)
    Request.objects.update(state="arrived")
    answer = client.post(link(request, "withdraw/"), {"key": str(key())})
    assert "too late" in answer.content.decode()


def test_address_changes_by_the_page_and_errors_keep_what_was_typed(
    client: Client, shop: Shop
) -> None:
    request = sent_back(shop)
    facts = {"key": str(key()), "name": "Wanda Reed", "street": "9 Dyke Road", "country": "GB"}
    facts |= {"postal_code": "12345", "city": "Farwater"}
    page = client.post(link(request, "address/"), facts)
    assert "postal_code" in page.context["form"].errors
    assert "9 Dyke Road" in page.content.decode()
    client.post(link(request, "address/"), facts | {"postal_code": "ab1 2cd"})
    person = Request.objects.get().person
    assert person is not None
    assert (person.street, person.postal_code) == ("9 Dyke Road", "AB1 2CD")


def test_posted_kit_can_be_reported_missing(client: Client, shop: Shop, bea: User) -> None:
    request = asked_screws(shop)
    assert "missing/" not in client.get(link(request)).content.decode()
    kits.post(key=key(), request=request, at=NOON, by=bea)
    page = client.get(link(request)).content.decode()
    assert "missing/" in page
    assert "address/" not in page
    client.post(link(request, "missing/"), {"key": str(key())})
    assert Request.objects.get().state == "reported_missing"


def find(client: Client, reference: str, email: str) -> Any:
    return client.post("/find/", {"reference": reference, "email": email})


def without_tokens(page: Any) -> str:
    return re.sub(
        r'(csrfmiddlewaretoken" value|X-CSRFToken"):?="?[^"]*"|nonce="[^"]*"|'
        r'"X-CSRFToken": "[^"]*"',
        "",
        page.content.decode(),
    )


def test_find_answers_alike_whatever_matches(client: Client, shop: Shop) -> None:
    request = sent_back(shop)
    right = find(client, request.reference, "Wanda@Example.org")
    for reference, email in [
        (request.reference, "stranger@example.org"),
        ("Q-2222-2222", "wanda@example.org"),
        ("rubbish", "wanda@example.org"),
    ]:
        wrong = find(client, reference, email)
        assert (wrong.status_code, without_tokens(wrong)) == (200, without_tokens(right))


def test_find_sends_the_link_only_to_the_right_email(
    client: Client, shop: Shop, mailoutbox: list[Any]
) -> None:
    request = sent_back(shop)
    OutboxMessage.objects.all().delete()
    find(client, request.reference.lower(), "wanda@example.org")
    find(client, request.reference, "stranger@example.org")
    find(client, "rubbish", "wanda@example.org")
    assert OutboxMessage.objects.filter(topic="letter", subject="link").count() == 3
    for message in list(OutboxMessage.objects.all()):
        assert outbox.settle(message.pk, at=timezone.now())
    assert [mail.to for mail in mailoutbox] == [["wanda@example.org"]]
    assert intake.link_secret(request) in mailoutbox[0].body


@pytest.mark.parametrize("exists", [True, False])
@time_machine.travel(NOON, tick=False)
def test_find_is_limited_per_reference_whether_it_exists_or_not(
    client: Client, shop: Shop, exists: bool
) -> None:
    reference = sent_back(shop).reference if exists else codes.new_code("Q")
    answers = [find(client, reference, "x@example.org").status_code for _ in range(6)]
    assert answers == [200] * 5 + [429]


@time_machine.travel(NOON, tick=False)
def test_find_is_limited_per_visitor(client: Client, shop: Shop) -> None:
    answers = [find(client, codes.new_code("Q"), "x@example.org").status_code for _ in range(11)]
    assert answers == [200] * 10 + [429]


def test_erased_person_leaves_a_dead_link(client: Client, shop: Shop) -> None:
    from returns.customers import rules as people

    request = intake.withdraw(key=key(), request=sent_back(shop), at=NOON)
    address = link(request)
    assert request.person is not None
    people.erase(key=key(), person=request.person, at=NOON)
    assert client.get(address).status_code == 404


@pytest.mark.parametrize(
    ("country", "postal_code", "named"), [("DE", "12345", False), ("NZ", "6011", True)]
)
def test_address_for_the_parcel_names_the_country_to_who_posts_from_another(
    client: Client, shop: Shop, country: str, postal_code: str, named: bool
) -> None:
    contact = replace(WANDA, country=country, postal_code=postal_code)
    request = sent_back(shop, contact=contact)
    page = client.get(link(request)).content.decode()
    assert ("Germany</address>" in page) is named
    assert ("Germany</p>" in slip_pdf.page(request, size="a4")) is named


def test_codes_in_a_sentence_are_kept_whole_and_the_rest_is_escaped() -> None:
    assert whole_codes("Weighed in as F-55CX-JJHF.") == (
        'Weighed in as <span class="nowrap">F-55CX-JJHF</span>.'
    )
    assert whole_codes("<b> & no-code") == "&lt;b&gt; &amp; no-code"
