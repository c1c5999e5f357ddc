"""A test scan says what arrived and what to set; a test label can be measured and scanned back."""

from __future__ import annotations

import io
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse
from pypdf import PdfReader

from inventory.models import Workshop
from returns.devices import sums
from returns.devices.pages import TEST_CODE, is_ours
from returns.devices.sums import Keyboard, Slip
from tests.makers import Shop

TEST = f"http://shop.example.org:8000/go/{TEST_CODE}/"
FRAME = "F-PMD2-6NDG"  # its last sign checks the others
PAIRS = [(one, other) for one in Keyboard for other in Keyboard if one is not other]


def read(arrived: str, **how: Any) -> sums.Reading:
    return sums.read(
        arrived, **({"test": TEST, "is_ours": is_ours, "key_ms": 4, "end": "enter"} | how)
    )


def test_every_keyboard_has_a_sign_for_each_key() -> None:
    assert {len(sums._KEYS[one]) for one in Keyboard} == {94}
    for one in Keyboard:
        assert sums.arrives(TEST, scanner=one, computer=one) == TEST


@pytest.mark.parametrize(
    ("scanner", "computer", "arrived"),
    [
        (Keyboard.US, Keyboard.GERMAN, "httpÖ--shop.example.orgÖ8000-go-testßzyqwamß0123456789-"),
        (Keyboard.US, Keyboard.FRENCH, "httpM!!shop:exqmple:orgMàçç!"),
        (Keyboard.GERMAN, Keyboard.US, "http>&&shop.example.org>8000&go&test/zyqwam/0123456789&"),
    ],
)
def test_a_foreign_keyboard_types_other_signs(
    scanner: Keyboard, computer: Keyboard, arrived: str
) -> None:
    """By hand, from what stands on the keys; the French one only where the hand was sure."""
    typed = sums.arrives(TEST, scanner=scanner, computer=computer)
    if computer is Keyboard.FRENCH:
        assert typed.startswith("httpM!!shop:exq")
    else:
        assert typed == arrived


@pytest.mark.parametrize(("scanner", "computer"), PAIRS)
def test_another_keyboard_is_recognised_and_named(scanner: Keyboard, computer: Keyboard) -> None:
    typed = sums.arrives(TEST, scanner=scanner, computer=computer)
    reading = read(typed)
    if typed == TEST:
        # US and British keyboards agree on every sign of our labels.
        assert {scanner, computer} == {Keyboard.US, Keyboard.UK}
        assert reading.slips == ()
        return
    assert (reading.meant, reading.slips) == (TEST, (Slip.KEYBOARD,))
    alike = {Keyboard.UK: Keyboard.US}
    assert reading.scanner in {scanner, alike.get(scanner, scanner)}
    assert reading.computer in {computer, alike.get(computer, computer)}


@pytest.mark.parametrize(
    ("arrived", "how", "slips"),
    [
        (TEST, {}, ()),
        (FRAME, {}, ()),
        ("bin-screw-m14", {}, ()),
        ("shelf-a3", {"key_ms": None, "end": ""}, ()),
        (TEST, {"key_ms": 50}, ()),
        (TEST, {"key_ms": 51}, (Slip.SLOW,)),
        (TEST, {"end": "tab"}, (Slip.NO_ENTER,)),
        (TEST, {"end": "none", "key_ms": 90}, (Slip.SLOW, Slip.NO_ENTER)),
        (TEST.swapcase(), {}, (Slip.CAPITALS,)),
        (TEST.replace("o", ""), {}, (Slip.MISSING,)),
        (TEST[: len(TEST) // 2 - 1], {}, (Slip.FOREIGN,)),
        ("4006381333931", {}, (Slip.FOREIGN,)),
        (FRAME[:-1] + ("2" if FRAME[-1] != "2" else "3"), {}, (Slip.FOREIGN,)),
        (
            sums.arrives(FRAME, scanner=Keyboard.US, computer=Keyboard.GERMAN),
            {},
            (Slip.KEYBOARD,),
        ),
    ],
)
def test_each_slip_is_told_and_nothing_else(
    arrived: str, how: dict[str, Any], slips: tuple[Slip, ...]
) -> None:
    assert read(arrived, **how).slips == slips


@pytest.mark.django_db
def test_the_page_says_what_to_set_without_scripts_too(
    client: Client, shop: Shop, bea: User, settings: Any
) -> None:
    del shop
    settings.BASE_URL = "http://shop.example.org:8000"
    client.force_login(bea)

    def page(**asked: str) -> str:
        return client.get(reverse("devices"), asked).content.decode()

    assert "What arrived" not in page()
    assert "The scanner is set up" in page(arrived=TEST, key_ms="4", end="enter")
    garbled = page(arrived=sums.arrives(TEST, scanner=Keyboard.US, computer=Keyboard.GERMAN))
    assert "types as on a US one, and this computer&#x27;s keyboard is a German one" in garbled
    assert "not measured" in garbled
    assert "Scan the test label as well" in page(arrived=FRAME)
    for asked in ({"arrived": "\0<script>"}, {"arrived": "x" * 400, "key_ms": "²", "end": "moon"}):
        assert "<script>" not in page(**asked).partition("<main")[2].partition("devices.js")[0]
    assert client.get(reverse("go"), {"code": TEST}).headers["Location"] == reverse("devices")


@pytest.mark.django_db
@pytest.mark.parametrize("size", [(70, 40), (50, 25), (30, 15), None])
def test_the_test_label_has_the_size_that_is_set(
    client: Client, shop: Shop, bea: User, size: tuple[int, int] | None
) -> None:
    del shop
    width, height = size or (None, None)
    Workshop.objects.update(label_width_mm=width, label_height_mm=height)
    client.force_login(bea)
    (drawn,) = PdfReader(io.BytesIO(client.get(reverse("test-label")).content)).pages
    sides = [round(float(side) / 72 * 25.4) for side in drawn.mediabox[2:]]
    assert sides == list(size or (210, 297))
    assert "Test label" in drawn.extract_text()
