"""Photos in the filing form: made smaller before they travel, and still there after an error."""

from __future__ import annotations

import io
from collections.abc import Callable
from random import Random
from typing import Any

import pytest
from PIL import Image
from playwright.sync_api import expect

from returns.models import DraftPhoto
from tests.makers import Shop

pytestmark = pytest.mark.django_db(transaction=True)

SIDE = 3000


def noise() -> bytes:
    """A picture that compresses badly, as a photo does."""
    raw = Random(1).randbytes(SIDE * SIDE // 4 * 3)  # noqa: S311  a picture needs no secret
    out = io.BytesIO()
    small = Image.frombytes("RGB", (SIDE // 2, SIDE // 2), raw)
    small.resize((SIDE, SIDE)).save(out, "JPEG", quality=95)
    return out.getvalue()


def test_a_photo_is_made_smaller_and_outlives_an_error(
    shop: Shop, open_visitors: Callable[..., Any]
) -> None:
    content = noise()
    page = open_visitors().page()
    page.goto("/ask/return/")
    photo = {"name": "mine.jpg", "mimeType": "image/jpeg", "buffer": content}
    page.set_input_files("input[type=file]", [photo])
    expect(page.locator("button.wide-press")).to_be_enabled()
    page.wait_for_function(
        "most => document.querySelector('input[type=file]').files[0].size < most",
        arg=len(content) // 2,
    )
    page.get_by_role("button", name="File the return").click()
    kept = page.get_by_role("group", name="Photos that we have already")
    expect(kept.get_by_role("img")).to_have_count(1)
    row = DraftPhoto.objects.get()
    assert (row.width, row.height) == (1800, 1800)


def test_without_scripts_the_photo_goes_as_it_is(
    shop: Shop, open_visitors: Callable[..., Any]
) -> None:
    page = open_visitors().page(java_script_enabled=False)
    page.goto("/ask/return/")
    out = io.BytesIO()
    Image.new("RGB", (40, 30), "teal").save(out, "PNG")
    photo = {"name": "mine.png", "mimeType": "image/png", "buffer": out.getvalue()}
    page.set_input_files("input[type=file]", [photo])
    page.get_by_label("I do not know which model it is").check()
    page.get_by_role("button", name="File the return").click()
    expect(page.get_by_role("group", name="Photos that we have already")).to_be_visible()
    expect(page.get_by_label("I do not know which model it is")).to_be_checked()
    assert (DraftPhoto.objects.get().width, DraftPhoto.objects.get().height) == (40, 30)
