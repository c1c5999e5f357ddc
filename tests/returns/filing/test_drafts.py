"""Photos outlive whatever sends a form back, and are forgotten once it is filed or given up."""

from __future__ import annotations

import re
import uuid
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from returns import tasks
from returns.filing.rules import drafts, photos
from returns.models import DraftPhoto, Photo, Request
from tests.makers import NOON, Shop
from tests.returns.filing.test_customer_filing import picture, typed, upload

pytestmark = pytest.mark.django_db

FORM = uuid.UUID(int=7)
PATH = "/ask/return/"


def drawn(number: int) -> photos.Picture:
    return photos.Picture(b"jpeg %d" % number, 4, 3)


def key_of(page: Any) -> str:
    found = re.search(r'name="key" value="([^"]+)"', page.content.decode())
    assert found is not None
    return found[1]


def test_photos_outlive_an_error_in_another_field(client: Client, shop: Shop) -> None:
    facts = typed(shop, photos=[upload(), upload("b.png", picture("PNG"))]) | {"email": "none"}
    page = client.post(PATH, facts)
    assert "Photos that we have already" in page.content.decode()
    [shown, _second] = re.findall(r'<img src="(/ask/photo/[^"]+)"', page.content.decode())
    answer = client.get(shown)
    assert (answer["Content-Type"], answer["Cache-Control"]) == ("image/jpeg", "no-store")
    again = typed(shop) | {"key": key_of(page)}
    assert client.post(PATH, again).status_code == 302
    assert Photo.objects.count() == 2
    assert not DraftPhoto.objects.exists()


def test_photos_outlive_the_detour_to_the_screws(client: Client, shop: Shop) -> None:
    loose = {"component": "screw_left", "defect": "loose_screw"}
    page = client.post(PATH, typed(shop, photos=[upload()]) | loose)
    assert "A screw is all it needs" in page.content.decode()
    client.post(PATH, typed(shop) | loose | {"key": key_of(page), "go_on": "1"})
    assert Photo.objects.count() == 1


def test_a_photo_can_be_left_out_again(client: Client, shop: Shop) -> None:
    page = client.post(PATH, typed(shop, photos=[upload()]) | {"email": "none"})
    name = DraftPhoto.objects.get().file_name
    client.post(PATH, typed(shop) | {"key": key_of(page), "drop": name})
    assert Request.objects.get().photos.count() == 0


def test_the_good_photo_stays_and_the_bad_one_is_named(client: Client, shop: Shop) -> None:
    bad = upload("blurred<b>.jpg", content=b"\xff\xd8\xff no")
    page = client.post(PATH, typed(shop, photos=[upload(), bad]))
    text = page.content.decode()
    assert "blurred&lt;b&gt;.jpg: One photo cannot be read" in text
    assert DraftPhoto.objects.count() == 1


def test_the_limits_are_told_before_choosing(client: Client, shop: Shop) -> None:
    assert (
        "Up to 4, JPEG, PNG, WebP or HEIC, each at most 12 MB." in client.get(PATH).content.decode()
    )


@pytest.mark.parametrize(("there", "more", "fits"), [(3, 1, True), (3, 2, False), (4, 1, False)])
def test_at_most_four_in_all(shop: Shop, there: int, more: int, fits: bool) -> None:
    drafts.add(form=FORM, pictures=[drawn(number) for number in range(there)], at=NOON)
    new = [drawn(10 + number) for number in range(more)]
    if fits:
        drafts.add(form=FORM, pictures=new, at=NOON)
    else:
        with pytest.raises(drafts.BadInput):
            drafts.add(form=FORM, pictures=new, at=NOON)
    assert len(drafts.of(FORM)) == there + more * fits


def test_what_is_sent_again_is_not_kept_twice(shop: Shop) -> None:
    for _ in range(2):
        drafts.add(form=FORM, pictures=[drawn(1), drawn(1), drawn(2)], at=NOON)
    assert len(drafts.of(FORM)) == 3


def test_another_form_does_not_show_them(client: Client, shop: Shop) -> None:
    [kept] = drafts.add(form=FORM, pictures=[drawn(1)], at=NOON)
    assert client.get(f"/ask/photo/{FORM}/{kept.file_name}/").status_code == 200
    other = uuid.UUID(int=8)
    assert client.get(f"/ask/photo/{other}/{kept.file_name}/").status_code == 404
    assert drafts.drop(form=other, file_names=[kept.file_name]) == 0


def test_a_form_that_goes_on_under_a_new_key_takes_them_along(client: Client, shop: Shop) -> None:
    first = typed(shop)
    assert client.post(PATH, first).status_code == 302
    changed = typed(shop, photos=[upload()]) | {"key": first["key"], "note": "Another one."}
    page = client.post(PATH, changed)
    fresh = key_of(page)
    assert fresh != str(first["key"])
    client.post(PATH, typed(shop) | {"key": fresh, "note": "Another one."})
    assert Request.objects.get(note="Another one.").photos.count() == 1


def test_what_was_never_filed_goes_after_a_day(
    shop: Shop, django_capture_on_commit_callbacks: Any
) -> None:
    now = timezone.now()
    [kept] = drafts.add(form=FORM, pictures=[drawn(1)], at=now)
    day = timedelta(days=1)
    assert tasks.prune(now + day)["drafts"] == 0
    assert photos.is_there(kept.file_name)
    with django_capture_on_commit_callbacks(execute=True):
        assert tasks.prune(now + day + timedelta(seconds=1))["drafts"] == 1
    assert not photos.is_there(kept.file_name)
