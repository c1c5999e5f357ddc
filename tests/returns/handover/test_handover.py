"""What one shift leaves to the next: shelf places, notes, and photos from the bench."""

from __future__ import annotations

import io
from datetime import timedelta
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from PIL import Image

from inventory.ledger.rules import places
from inventory.models import Event, Origin, Workshop
from returns import tasks
from returns.customers import rules as people
from returns.filing.rules import photos
from returns.handover import queries as handover
from returns.handover import sums
from returns.handover.rules import taking
from returns.models import BenchPhoto, HandoverNote, ReturnedFrame, ShelfPlace
from tests.makers import NOON, Shop, key
from tests.returns import customer_makers as customers
from tests.returns.bench_makers import filed, on_shelf

pytestmark = pytest.mark.django_db


@pytest.fixture
def desk(client: Client, bea: User) -> Client:
    client.force_login(bea)
    return client


@pytest.fixture
def frame(shop: Shop, bea: User) -> ReturnedFrame:
    return on_shelf(shop, bea, filed(shop.avocet_slate))


def post(client: Client, name: str, *args: object, **data: object) -> Any:
    return client.post(reverse(name, args=args), {"key": key(), **data})


def text(client: Client, name: str, *args: object, **asked: str) -> str:
    return client.get(reverse(name, args=args), asked).content.decode()


@pytest.mark.parametrize(
    ("typed", "kept"),
    [
        ("a3", "A3"),
        (" a  3 ", "A 3"),
        ("shelf-a3", "A3"),
        ("SHELF-A_3", "A 3"),
        ("Ö1.2/b-4", "Ö1.2/B-4"),
        ("123456789012", "123456789012"),
    ],
)
def test_a_shelfs_code_is_kept_in_one_way(typed: str, kept: str) -> None:
    assert sums.shelf(typed) == kept
    assert sums.shelf(sums.label(kept)) == sums.code_on_label(sums.label(kept)) == kept


@pytest.mark.parametrize("typed", ["", "-", "A-", "-3", "A--3", "A;3", "1234567890123", "shelf-"])
def test_what_is_no_shelfs_code_is_refused(typed: str) -> None:
    with pytest.raises(ValueError, match="no code of a shelf"):
        sums.shelf(typed)


def test_a_frame_is_put_on_a_shelf_shown_in_lists_and_found(
    desk: Client, shop: Shop, frame: ReturnedFrame
) -> None:
    before = Event.objects.filter(subject=frame.tag).count()
    assert post(desk, "frame-shelf", frame.tag, shelf="shelf-a3").status_code == 302
    assert ShelfPlace.objects.get().shelf == "A3"
    for page in (text(desk, "bench"), text(desk, "frame", frame.tag), text(desk, "shelves")):
        assert ">A3<" in page.replace("</span>A3<", ">A3<")
    for typed in ("a3", "shelf-a3", "http://127.0.0.1/go/shelf-a3/"):
        answer = desk.get(reverse("go"), {"code": typed})
        assert answer.headers["Location"] == reverse("shelf", args=["A3"])
    assert f">{frame.tag}</a>" in text(desk, "shelf", "A3")
    # A look-over that began before is not refused for it.
    assert Event.objects.filter(subject=frame.tag).count() == before
    assert post(desk, "frame-shelf", frame.tag, shelf="").status_code == 302
    assert f">{frame.tag}</a>" not in text(desk, "shelf", "A3")
    assert desk.get(reverse("go"), {"code": "a3"}).status_code == 404


def test_what_has_left_lies_on_no_shelf(desk: Client, frame: ReturnedFrame) -> None:
    post(desk, "frame-shelf", frame.tag, shelf="A3")
    ReturnedFrame.objects.update(state="posted", ended_at=NOON)
    assert f">{frame.tag}</a>" not in text(desk, "shelf", "A3")
    assert handover.shelves() == []


def test_a_box_has_a_shelf_too_and_a_things_code_is_none(desk: Client, shop: Shop) -> None:
    box = places.box(polymer=shop.pp, colour=shop.slate, origin=Origin.RETURN)
    refused = post(desk, "box-shelf", box.code, shelf="F-7KDM-3XQ9")
    assert refused.status_code == 422
    assert 'value="F-7KDM-3XQ9"' in refused.content.decode()
    assert post(desk, "box-shelf", box.code, shelf="B;1").status_code == 422
    assert post(desk, "box-shelf", box.code, shelf="B1").status_code == 302
    assert box.code in text(desk, "shelf", "B1")
    label = desk.get(reverse("shelf-label"), {"shelf": "B1"})
    assert label.content.startswith(b"%PDF-")
    assert desk.get(reverse("shelf-label"), {"shelf": "B;1"}).status_code == 404


def test_a_note_shows_on_today_until_somebody_ticks_it_and_is_kept(
    desk: Client, client: Client, frame: ReturnedFrame, ben: User
) -> None:
    for words, tag in (("Glue is out.", ""), ("Its screw is in the cup.", frame.tag)):
        assert post(desk, "notes", text=words, frame=tag).status_code == 302
    assert "Glue is out." in text(desk, "bench")
    assert "Its screw is in the cup." in text(desk, "frame", frame.tag)
    assert "Glue is out." not in text(desk, "frame", frame.tag)
    note = HandoverNote.objects.get(frame=None)
    client.force_login(ben)
    for _again in range(2):
        assert post(client, "note-done", note.pk).status_code == 302
    assert "Glue is out." not in text(client, "bench")
    assert "done by ben" in text(client, "notes")
    assert Event.objects.filter(name="handover.note_done").count() == 1
    assert "screw is in" not in str(list(Event.objects.values_list("detail", flat=True)))


@pytest.mark.parametrize("told", [{"text": ""}, {"text": "x" * 301}, {"frame": "F-7KDM-3XQ8"}])
def test_a_bad_note_is_refused_beside_its_field(
    desk: Client, shop: Shop, told: dict[str, str]
) -> None:
    answer = post(desk, "notes", **({"text": "Words", "frame": ""} | told))
    assert answer.status_code == 422
    assert not HandoverNote.objects.exists()


def shot(**how: Any) -> SimpleUploadedFile:
    out = io.BytesIO()
    exif = Image.Exif()
    exif[0x010E] = "taken in the kitchen"
    Image.new("RGB", (2400, 1200), "teal").save(out, "JPEG", exif=exif, **how)
    return SimpleUploadedFile("IMG_1.jpg", out.getvalue(), "image/jpeg")


def test_a_photo_is_kept_bare_with_who_and_when_and_shown_to_the_bench_alone(
    desk: Client, client: Client, frame: ReturnedFrame, bea: User, acke: User
) -> None:
    told: dict[str, Any] = {"photos": shot(), "shows": "arm_left|", "key": key()}
    address = reverse("frame-photos", args=[frame.tag])
    assert desk.post(address, told).status_code == 302
    kept = BenchPhoto.objects.get()
    assert (kept.component, kept.taken_by, max(kept.width, kept.height)) == ("arm_left", bea, 1800)
    assert b"kitchen" not in photos.read(kept.file_name)
    picture = reverse("bench-photo", args=[kept.file_name])
    assert picture in text(desk, "frame", frame.tag)
    assert desk.get(picture).headers["Content-Type"] == "image/jpeg"
    client.force_login(acke)
    assert client.get(picture).status_code == 403
    client.logout()
    assert client.get(picture).status_code == 302


@pytest.mark.parametrize("photo", [None, SimpleUploadedFile("a.jpg", b"no picture", "image/jpeg")])
def test_what_is_no_photo_is_refused(desk: Client, frame: ReturnedFrame, photo: Any) -> None:
    data = {"photos": photo} if photo else {}
    assert post(desk, "frame-photos", frame.tag, **data).status_code == 422
    ReturnedFrame.objects.update(ended_at=NOON)
    assert post(desk, "frame-photos", frame.tag, photos=shot()).status_code == 422
    assert not BenchPhoto.objects.exists()


def _taken(frame: ReturnedFrame, by: User, pieces: int = 1) -> list[BenchPhoto]:
    upload = shot()
    picture = photos.redraw(upload, size_bytes=upload.size or 0)  # type: ignore[arg-type]
    facts: dict[str, Any] = {"frame": frame, "pictures": [picture] * pieces, "shows": ""}
    return taking.take(key=key(), at=NOON, by=by, **facts)


def test_a_frame_has_so_many_photos_and_no_more(
    frame: ReturnedFrame, bea: User, desk: Client
) -> None:
    _taken(frame, bea, taking.PHOTOS_MAX)
    assert post(desk, "frame-photos", frame.tag, photos=shot()).status_code == 422
    first = BenchPhoto.objects.all()[0]
    assert post(desk, "photo-delete", frame.tag, first.file_name).status_code == 302
    assert post(desk, "frame-photos", frame.tag, photos=shot()).status_code == 302


@pytest.mark.django_db(transaction=True)
def test_they_go_and_are_handed_out_with_the_customers_data(shop: Shop, bea: User) -> None:
    request = customers.sent_back(shop)
    frame = on_shelf(shop, bea, request)
    (taken,) = _taken(frame, bea)
    other = on_shelf(shop, bea, customers.sent_back(shop))
    (kept,) = _taken(other, bea)
    assert request.person is not None
    assert taken.file_name in str(people.export(request.person))
    request.person.requests.update(ended_at=NOON)
    people.erase(key=key(), person=request.person, at=NOON)
    assert list(BenchPhoto.objects.all()) == [kept]
    assert not photos.is_there(taken.file_name)
    assert photos.is_there(kept.file_name)


@pytest.mark.parametrize(("days", "left"), [(180, 1), (181, 0)])
def test_photos_of_nobodys_frame_go_as_late_as_data_is_kept(
    shop: Shop, bea: User, days: int, left: int
) -> None:
    frame = on_shelf(shop, bea)
    _taken(frame, bea)
    assert frame.request is None
    assert Workshop.the().retention_days == 180
    ReturnedFrame.objects.update(ended_at=NOON)
    tasks.prune(NOON + timedelta(days=days))
    assert BenchPhoto.objects.count() == left
