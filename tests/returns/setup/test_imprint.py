"""Who writes: telephone, imprint and logo on pages, in letters and on papers."""

from __future__ import annotations

import io
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.core import mail
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from PIL import Image
from pypdf import PdfReader

from inventory import outbox
from inventory.errors import BadInput
from inventory.masters import rules as masters
from inventory.masters import sums
from inventory.models import OutboxMessage, Workshop, WorkshopLogo
from returns.filing.pages import slip_pdf
from tests import makers
from tests.makers import NOON, Shop
from tests.returns.customer_makers import sent_back

IMPRINT = "Responsible: Olga Tern\nRegister: Saltmarsh 123"


def picture(kind: str = "PNG", size: tuple[int, int] = (600, 300), **more: Any) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", size, "teal").save(out, kind, **more)
    return out.getvalue()


def kept(olga: User, **changes: Any) -> Workshop:
    facts = {"phone": "+49 40 1234-5", "imprint": IMPRINT, "logo": b"", "drop_logo": False}
    return masters.set_imprint(key=makers.key(), facts=facts | changes, at=NOON, by=olga)


def test_page_keeps_all_three_and_every_page_leads_to_them(
    shop: Shop, client: Client, olga: User
) -> None:
    client.force_login(olga)
    page = reverse("setup-step", args=["imprint"])
    assert b'enctype="multipart/form-data"' in client.get(page).content
    upload = SimpleUploadedFile("../logo.png", picture(), "image/png")
    sent = {"key": makers.key(), "phone": "+49 40 1234-5", "imprint": IMPRINT, "logo": upload}
    assert client.post(page, sent).status_code == 302
    stranger = Client()
    start = stranger.get("/").content.decode()
    assert reverse("imprint") in start
    address = reverse("logo", args=[Workshop.the().logo_name])
    assert f'src="{address}"' in start
    shown = stranger.get(reverse("imprint")).content.decode()
    for words in ("Responsible: Olga Tern", "tel:+494012345", "+49 40 1234-5"):
        assert words in shown
    logo = stranger.get(address)
    assert logo.headers["Content-Type"] == "image/png"
    assert "immutable" in logo.headers["Cache-Control"]
    with Image.open(io.BytesIO(logo.content)) as drawn:
        assert drawn.size == (320, 160)
    assert stranger.get(reverse("logo", args=["another"])).status_code == 404


def test_logo_is_left_alone_by_an_empty_field_and_taken_away_by_the_box(
    shop: Shop, olga: User
) -> None:
    first = kept(olga, logo=picture()).logo_digest
    assert kept(olga, phone="").logo_digest == first
    assert kept(olga, drop_logo=True).logo_digest == ""
    assert not WorkshopLogo.objects.exists()


@pytest.mark.parametrize(
    "upload",
    [
        b"no picture",
        b"<svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script></svg>",
        picture()[:-40],
        picture("GIF"),
        picture("PNG", (sums.LOGO_SIDE_MAX + 1, 1)),
        picture() + b"\0" * sums.LOGO_BYTES_MAX,
    ],
    ids=["text", "svg", "cut short", "gif", "too wide", "too many bytes"],
)
def test_what_is_no_picture_of_ours_is_refused_and_nothing_is_kept(
    shop: Shop, olga: User, upload: bytes
) -> None:
    with pytest.raises(BadInput) as refused:
        kept(olga, logo=upload)
    assert refused.value.field == "logo"
    assert not WorkshopLogo.objects.exists()
    assert Workshop.the().phone == ""


def test_largest_picture_is_taken_and_nothing_but_pixels_survives() -> None:
    exif = Image.Exif()
    exif[0x010E] = "secret place"
    wide = picture("JPEG", (sums.LOGO_SIDE_MAX, 10), exif=exif)
    assert b"secret place" in wide
    assert b"secret place" not in sums.logo(wide)


def test_a_telephone_number_is_one(shop: Shop, olga: User) -> None:
    with pytest.raises(BadInput):
        kept(olga, phone="<b>call</b>")


def test_letter_says_who_writes_and_brings_the_logo_along(shop: Shop, olga: User) -> None:
    kept(olga, logo=picture())
    sent_back(shop)
    assert outbox.settle(OutboxMessage.objects.get(topic="letter").pk, at=timezone.now())
    (letter,) = mail.outbox
    for text in (letter.body, str(letter.alternatives[0][0])):  # type: ignore[attr-defined]
        assert "Register: Saltmarsh 123" in text
        assert "+49 40 1234-5" in text
    whole = letter.message()
    (logo,) = [part for part in whole.walk() if part.get_content_type() == "image/png"]
    name = logo["Content-ID"].strip("<>")
    assert f'src="cid:{name}"' in str(letter.alternatives[0][0])  # type: ignore[attr-defined]


def test_letter_without_them_is_as_it_was(shop: Shop) -> None:
    sent_back(shop)
    assert outbox.settle(OutboxMessage.objects.get(topic="letter").pk, at=timezone.now())
    assert [part.get_content_type() for part in mail.outbox[0].message().walk()] == [
        "multipart/alternative",
        "text/plain",
        "text/html",
    ]


@pytest.mark.parametrize(("size", "has_room"), [("a4", True), ("a6", False)])
def test_slip_stays_one_page_with_logo_and_imprint(
    shop: Shop, olga: User, size: str, has_room: bool
) -> None:
    kept(olga, logo=picture())
    paper = PdfReader(io.BytesIO(slip_pdf.make(sent_back(shop), size=size)))
    assert len(paper.pages) == 1
    assert ("Register: Saltmarsh 123" in paper.pages[0].extract_text()) is has_room
    assert len(paper.pages[0].images) == has_room
