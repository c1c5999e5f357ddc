"""Re-encoding under limits, and what is left of a sender's file (nothing but its pixels)."""

from __future__ import annotations

import io
import os
import struct
import zlib
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.core.files.base import ContentFile
from PIL import Image

from inventory.errors import BadInput
from returns.filing.rules import photos
from returns.models import Photo
from tests.makers import NOON, Shop
from tests.returns.customer_makers import sent_back


def encoded(form: str, size: tuple[int, int] = (60, 40), mode: str = "RGB", **how: Any) -> bytes:
    out = io.BytesIO()
    Image.new(mode, size, "teal").save(out, form, **how)
    return out.getvalue()


def redrawn(content: bytes) -> photos.Picture:
    return photos.redraw(io.BytesIO(content), size_bytes=len(content))


def opened(picture: photos.Picture) -> Image.Image:
    return Image.open(io.BytesIO(picture.jpeg))


@pytest.mark.parametrize("form", ["JPEG", "PNG", "WEBP"])
def test_usual_formats_become_jpeg(form: str) -> None:
    picture = redrawn(encoded(form))
    assert opened(picture).format == "JPEG"
    assert (picture.width, picture.height) == (60, 40)


def test_heic_becomes_jpeg() -> None:
    import pillow_heif

    pillow_heif.register_heif_opener()
    assert opened(redrawn(encoded("HEIF", (64, 48)))).size == (64, 48)


@pytest.mark.parametrize("form", ["GIF", "BMP", "TIFF", "PPM", "ICO"])
def test_other_formats_are_refused(form: str) -> None:
    with pytest.raises(BadInput) as refused:
        redrawn(encoded(form))
    assert refused.value.field == "photos"


@pytest.mark.parametrize(
    "content",
    [b"", b"no picture", b"\xff\xd8\xff\xe0 cut", b"<svg/>", b"%PDF-1.7", b"RIFF0000WEBP"],
)
def test_rubbish_is_refused(content: bytes) -> None:
    with pytest.raises(BadInput):
        redrawn(content)


@pytest.mark.parametrize("share", [0.2, 0.5, 0.9])
def test_truncated_picture_is_refused_whatever_else_is_imported(share: float) -> None:
    import weasyprint  # noqa: F401  its import makes Pillow accept half a file

    noise = Image.effect_noise((200, 200), 80).convert("RGB")
    out = io.BytesIO()
    noise.save(out, "JPEG")
    whole = out.getvalue()
    with pytest.raises(BadInput):
        redrawn(whole[: int(len(whole) * share)])


def test_size_limit_counts_at_and_above(settings: Any) -> None:
    content = encoded("PNG")
    settings.PHOTO_BYTES_MAX = len(content)
    assert redrawn(content).width == 60
    settings.PHOTO_BYTES_MAX = len(content) - 1
    with pytest.raises(BadInput):
        redrawn(content)


def test_pixel_limit_counts_at_and_above(settings: Any) -> None:
    settings.PHOTO_PIXELS_MAX = 60 * 40
    assert redrawn(encoded("PNG", (60, 40))).width == 60
    with pytest.raises(BadInput):
        redrawn(encoded("PNG", (60, 41)))


def test_bomb_is_refused_before_it_is_decoded() -> None:
    def chunk(kind: bytes, data: bytes) -> bytes:
        check = struct.pack(">I", zlib.crc32(kind + data))
        return struct.pack(">I", len(data)) + kind + data + check

    header = struct.pack(">IIBBBBB", 60_000, 60_000, 8, 2, 0, 0, 0)
    bomb = b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", b"") + chunk(b"IEND", b"")
    with pytest.raises(BadInput):
        redrawn(bomb)


def test_metadata_is_gone_and_the_picture_upright() -> None:
    exif = Image.Exif()
    exif[0x0112] = 6  # turned by a quarter
    exif[0x010F] = "Secret Camera"
    exif.get_ifd(0x8825)[2] = (52.0, 30.0, 0.0)
    picture = redrawn(encoded("JPEG", (60, 40), exif=exif, comment=b"where I live"))
    assert (picture.width, picture.height) == (40, 60)
    assert not opened(picture).getexif()
    assert b"Secret" not in picture.jpeg
    assert b"where I live" not in picture.jpeg


def test_large_picture_is_made_smaller_and_clear_ground_white() -> None:
    assert max(opened(redrawn(encoded("PNG", (4000, 100)))).size) == photos.SIDE_PX_MAX
    clear = io.BytesIO()
    Image.new("RGBA", (10, 10), (0, 0, 0, 0)).save(clear, "PNG")
    assert opened(redrawn(clear.getvalue())).getpixel((5, 5)) == (255, 255, 255)


@pytest.mark.parametrize("mode", ["L", "P", "1", "I;16", "LA", "CMYK"])
def test_odd_colour_modes_are_drawn(mode: str) -> None:
    out = io.BytesIO()
    Image.new(mode, (10, 10)).save(out, "JPEG" if mode == "CMYK" else "PNG")
    assert opened(redrawn(out.getvalue())).mode == "RGB"


@pytest.mark.django_db
def test_fifth_photo_of_a_request_is_refused(shop: Shop) -> None:
    request, picture = sent_back(shop), redrawn(encoded("PNG"))
    photos.keep(request=request, pictures=[picture] * 4, at=NOON)
    with pytest.raises(BadInput):
        photos.keep(request=request, pictures=[picture], at=NOON)


@pytest.mark.django_db
def test_removed_photos_leave_no_file(shop: Shop, django_capture_on_commit_callbacks: Any) -> None:
    request = sent_back(shop)
    kept = photos.keep(request=request, pictures=[redrawn(encoded("PNG"))], at=NOON)
    assert photos.is_there(kept[0].file_name)
    with django_capture_on_commit_callbacks(execute=True):
        assert photos.remove_all(request) == 1
    assert not photos.is_there(kept[0].file_name)


@pytest.mark.django_db
def test_orphans_go_once_they_are_old(shop: Shop) -> None:
    request = sent_back(shop)
    kept = photos.keep(request=request, pictures=[redrawn(encoded("PNG"))], at=NOON)[0]
    orphan = photos.store().save("left-behind.jpg", ContentFile(b"x"))
    day = datetime.now(UTC) - timedelta(days=2)
    for name in (orphan, kept.file_name):
        os.utime(photos.store().path(name), (day.timestamp(), day.timestamp()))
    assert photos.remove_orphans(older_than=day) == 0
    assert photos.remove_orphans(older_than=day + timedelta(seconds=1)) == 1
    assert photos.is_there(Photo.objects.get().file_name)
