"""Shelf places, notes and photos of the bench, told by a program."""

from __future__ import annotations

import io
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image

from inventory.ledger.rules import places
from inventory.models import Event
from returns.handover.rules import taking
from returns.models import BenchPhoto, HandoverNote, ReturnedFrame, ShelfPlace
from tests.api.callers import Caller, machine, pointers, refused
from tests.makers import Shop
from tests.returns.bench_makers import filed, on_shelf

pytestmark = pytest.mark.django_db


@pytest.fixture
def frame(shop: Shop, bea: User) -> ReturnedFrame:
    return on_shelf(shop, bea, filed(shop.avocet_slate))


@pytest.fixture
def bench(bea: User) -> Caller:
    return machine(bea, "bench")


def jpeg() -> SimpleUploadedFile:
    file = io.BytesIO()
    Image.new("RGB", (80, 60), "teal").save(file, "JPEG")
    return SimpleUploadedFile("arm.jpg", file.getvalue(), "image/jpeg")


def send(bench: Caller, tag: str, key: str, **data: Any) -> Any:
    headers = bench.headers | {"Idempotency-Key": key}
    return bench.client.post(f"/api/frames/{tag}/photos/", data, headers=headers)


def test_a_shelf_place_is_told_for_a_frame_and_a_box_and_taken_back(
    shop: Shop, bench: Caller, frame: ReturnedFrame
) -> None:
    box = places.box(polymer=shop.pp, colour=shop.slate, origin="virgin")
    for path in (f"frames/{frame.tag}", f"boxes/{box.code}"):
        answer = bench.post(f"{path}/shelf-places/", {"shelf": "a3"})
        assert (answer.status_code, answer.json()["shelf"]) == (200, "A3")
    found = bench.get("shelf-places/?shelf=A3").json()["results"]
    assert {row["of"] for row in found} == {frame.tag, box.code}
    body = refused(
        bench.post(f"frames/{frame.tag}/shelf-places/", {"shelf": frame.tag}), 400, "bad-input"
    )
    assert pointers(body) == {"#/shelf"}
    bench.post(f"frames/{frame.tag}/shelf-places/", {"shelf": ""})
    assert [one.subject for one in ShelfPlace.objects.all()] == [box.code]
    refused(bench.post("boxes/no-box/shelf-places/", {"shelf": "A3"}), 404, "not-found")


def test_a_note_is_left_once_and_done_once(bench: Caller, frame: ReturnedFrame) -> None:
    body = {"text": "The hinge is warm glued: wait till noon.", "frame": frame.tag.lower()}
    for _again in range(2):
        made = bench.post("handover-notes/", body, key="note-of-tuesday")
        assert (made.status_code, made.json()["frame"]) == (201, frame.tag)
    number = made.json()["number"]
    assert HandoverNote.objects.count() == 1
    assert len(bench.get("handover-notes/?is_open=true").json()["results"]) == 1
    for _again in range(2):
        assert bench.post(f"handover-notes/{number}/endings/").json()["done_at"] is not None
    assert Event.objects.filter(name="handover.note_done").count() == 1
    assert bench.get("handover-notes/?is_open=true").json()["results"] == []
    assert pointers(refused(bench.post("handover-notes/", {"text": " "}), 400, "bad-input"))
    refused(bench.post("handover-notes/999999/endings/"), 404, "not-found")


def test_photos_are_kept_once_counted_and_deleted(bench: Caller, frame: ReturnedFrame) -> None:
    for _again in range(2):
        kept = send(bench, frame.tag, "photo-one", photos=jpeg(), component="arm_left")
        assert kept.status_code == 201, kept.content
    (photo,) = BenchPhoto.objects.all()
    assert (photo.component, photo.defect, photo.width) == ("arm_left", "", 80)
    listed = bench.get(f"frames/{frame.tag}/photos/").json()["results"]
    assert [one["file_name"] for one in listed] == [photo.file_name]
    wrong = send(bench, frame.tag, "photo-two", photos=jpeg(), component="tail")
    refused(wrong, 400, "bad-input")
    broken = SimpleUploadedFile("arm.jpg", b"no picture", "image/jpeg")
    refused(send(bench, frame.tag, "photo-three", photos=broken), 400, "bad-input")
    path = f"frames/{frame.tag}/photos/{photo.file_name}/deletions/"
    assert bench.post(path).json() == {"photos": []}
    refused(bench.post(path), 404, "not-found")


def test_a_frame_takes_so_many_photos_by_whatever_way(bench: Caller, frame: ReturnedFrame) -> None:
    for number in range(taking.PHOTOS_MAX):
        assert send(bench, frame.tag, f"photo-{number:04}", photos=jpeg()).status_code == 201
    refused(send(bench, frame.tag, "photo-too-many", photos=jpeg()), 400, "bad-input")
