"""Pictures from customers: decoded under limits, re-encoded without metadata, kept apart.

Nothing of the sender's file survives but its pixels: no name, no place where it was taken, no
bytes that a viewer could be tricked with.
"""

from __future__ import annotations

import io
import secrets
import warnings
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from pathlib import PurePosixPath
from typing import TYPE_CHECKING, BinaryIO

from django.conf import settings
from django.core.files.base import ContentFile
from django.core.files.storage import Storage, storages
from django.db import transaction
from django.utils.translation import gettext as _

from inventory.errors import BadInput, NotFound
from returns.models import (
    BenchPhoto,
    DraftPhoto,
    Evidence,
    Photo,
    QuestionPhoto,
    Request,
)

if TYPE_CHECKING:
    from PIL import Image

PHOTOS_MAX = 4
SIDE_PX_MAX = 1800
QUALITY = 82
PDF_HEADERS = (b"%PDF-1.", b"%PDF-2.")
PDF_TAIL_BYTES = 1024
FORMATS = ("JPEG", "PNG", "WEBP", "HEIF")


@dataclass(frozen=True, slots=True)
class Picture:
    """A fresh JPEG and its size in pixels; `number` says of which frame of the request it is."""

    jpeg: bytes
    width: int
    height: int
    number: int = 1


@dataclass(frozen=True, slots=True)
class Paper:
    """A PDF as it came: we never open it, and hand it out as a file to save, never to show."""

    pdf: bytes


def paper(upload: BinaryIO, *, size_bytes: int) -> Paper:
    """Take a PDF in, by its header and its end (ISO 32000-2:2020, 7.5.2 and 7.5.5, from memory).

    Raises BadInput, naming `picture`, for one that is too large or is no PDF.
    """
    if size_bytes > settings.PHOTO_BYTES_MAX:
        room = settings.PHOTO_BYTES_MAX // 1_000_000
        raise BadInput(
            _("A PDF may hold %(room)s MB. Make it smaller, or photograph the paper.")
            % {"room": room},
            field="picture",
        )
    content = upload.read(settings.PHOTO_BYTES_MAX + 1)
    # Strict at both ends: a file that begins as something else may be read as that elsewhere.
    if not content.startswith(PDF_HEADERS) or b"%%EOF" not in content[-PDF_TAIL_BYTES:]:
        raise BadInput(_("This is no whole PDF. Send it again, or a photo."), field="picture")
    return Paper(content)


def redraw(upload: BinaryIO, *, size_bytes: int) -> Picture:
    """Decode one upload and encode it anew, upright and without metadata.

    Raises:
        BadInput: too large, too many pixels, another format, or broken.
    """
    # Bytes before pixels, pixels before decoding: each check costs less than the next, and a
    # decoder never sees what is too large.
    if size_bytes > settings.PHOTO_BYTES_MAX:
        room = settings.PHOTO_BYTES_MAX // 1_000_000
        raise BadInput(
            _("A photo may hold %(room)s MB. Take it smaller, or leave it out.") % {"room": room},
            field="photos",
        )
    try:
        return _redrawn(upload)
    except BadInput:
        raise
    except Exception as error:
        # Decoders raise whatever they like on broken input: OSError, SyntaxError, ValueError,
        # struct.error, EOFError, DecompressionBombError among them.
        raise BadInput(
            _("One photo cannot be read. Use JPEG, PNG, WebP or HEIC, or leave it out."),
            field="photos",
        ) from error


def _redrawn(upload: BinaryIO) -> Picture:
    import pillow_heif
    from PIL import Image, ImageFile, ImageOps

    # Importing WeasyPrint switches this on for the whole process: half a file would pass then.
    ImageFile.LOAD_TRUNCATED_IMAGES = False
    pillow_heif.register_heif_opener(thumbnails=False, depth_images=False, aux_images=False)
    with warnings.catch_warnings():
        # Pillow only warns of a small file that unpacks to a huge picture; here that is a refusal.
        warnings.simplefilter("error", Image.DecompressionBombWarning)
        with Image.open(upload, formats=FORMATS) as image:
            # `open` has read the header alone, so the size is known and nothing is decoded yet.
            _refuse_too_many_pixels(image.size)
            # JPEG can decode straight to a half or a quarter, which saves time and memory.
            image.draft("RGB", (SIDE_PX_MAX, SIDE_PX_MAX))
            # Turned first: the orientation lies in the metadata, which is about to be dropped.
            upright = ImageOps.exif_transpose(image)
            upright.thumbnail((SIDE_PX_MAX, SIDE_PX_MAX))
            return _encoded(_on_white(upright))


def _refuse_too_many_pixels(size: tuple[int, int]) -> None:
    if size[0] * size[1] > settings.PHOTO_PIXELS_MAX:
        room = settings.PHOTO_PIXELS_MAX // 1_000_000
        raise BadInput(
            _("A photo may have %(room)s megapixels. Take it smaller, or leave it out.")
            % {"room": room},
            field="photos",
        )


def _on_white(image: Image.Image) -> Image.Image:
    from PIL import Image

    # JPEG has no transparency, and dropping the channel would show whatever colour lies beneath.
    if "A" not in image.getbands() and "transparency" not in image.info:
        return image.convert("RGB")
    seen = image.convert("RGBA")
    ground = Image.new("RGB", seen.size, "white")
    ground.paste(seen, mask=seen.getchannel("A"))
    return ground


def _encoded(image: Image.Image) -> Picture:
    from PIL import Image

    # Pixels are pasted into an empty picture: one that is saved as it came may carry metadata
    # along, such as a comment.
    bare = Image.new("RGB", image.size)
    bare.paste(image)
    out = io.BytesIO()
    bare.save(out, "JPEG", quality=QUALITY, optimize=True)
    return Picture(out.getvalue(), *bare.size)


def keep(*, request: Request, pictures: Sequence[Picture], at: datetime) -> list[Photo]:
    """Store pictures of a request, in the caller's transaction. At most four of each frame."""
    there = Counter(request.photos.values_list("number", flat=True))
    there.update(picture.number for picture in pictures)
    if max(there.values(), default=0) > PHOTOS_MAX:
        raise BadInput(_("At most %(most)s photos, please.") % {"most": PHOTOS_MAX}, field="photos")
    return [_keep_one(request, picture, at) for picture in pictures]


def _keep_one(request: Request, picture: Picture, at: datetime) -> Photo:
    return Photo.objects.create(
        request=request,
        number=picture.number,
        file_name=stored(picture),
        width=picture.width,
        height=picture.height,
        added_at=at,
    )


def stored(kept: Picture | Paper) -> str:
    """Write the file of a picture or a PDF and return its name. One that no row names is removed
    later."""
    ending, content = ("pdf", kept.pdf) if isinstance(kept, Paper) else ("jpg", kept.jpeg)
    # A name of ours that cannot be guessed; the sender's could be a path, or a person's name.
    name = f"{secrets.token_hex(16)}.{ending}"
    return store().save(name, ContentFile(content))


def store() -> Storage:
    """Return where the files lie: outside everything that the web server hands out."""
    return storages["photos"]


def is_there(file_name: str) -> bool:
    return store().exists(_own(file_name))


def read(file_name: str) -> bytes:
    """Return what a file holds. Raises NotFound when it is gone."""
    try:
        with store().open(_own(file_name)) as file:
            return bytes(file.read())
    except FileNotFoundError as error:
        raise NotFound() from error


def _own(file_name: str) -> str:
    # Only the last part of a name, so that no "../" leads out of the store.
    return PurePosixPath(file_name).name


def remove_all(request: Request) -> int:
    """Delete every photo of a request, of its questions, and what the bench took of its frames."""
    taken = BenchPhoto.objects.filter(frame__request=request)
    asked = QuestionPhoto.objects.filter(question__request=request)
    return forget([*request.photos.all(), *taken, *asked])


def forget(rows: Sequence[Photo | BenchPhoto | QuestionPhoto]) -> int:
    """Delete photos; the files go once the transaction holds. Returns how many."""
    for row in rows:
        row.delete()
    # After the commit: a rollback brings rows back, and no file.
    names = [row.file_name for row in rows]
    transaction.on_commit(partial(unlink, names), robust=True)
    return len(names)


def remove_orphans(*, older_than: datetime) -> int:
    """Delete files that no row names: left behind when a filing was rolled back."""
    # The files before the rows, and only old ones: a filing that is under way has its file and not
    # yet its row.
    files = store().listdir("")[1]
    known = set(Photo.objects.values_list("file_name", flat=True))
    known |= set(DraftPhoto.objects.values_list("file_name", flat=True))
    known |= set(BenchPhoto.objects.values_list("file_name", flat=True))
    known |= set(Evidence.objects.values_list("file_name", flat=True))
    known |= set(QuestionPhoto.objects.values_list("file_name", flat=True))
    unknown = [name for name in files if name not in known]
    return unlink(name for name in unknown if _is_older(name, older_than))


def _is_older(name: str, moment: datetime) -> bool:
    try:
        return store().get_modified_time(name) < moment
    except FileNotFoundError:
        return False  # gone meanwhile


def unlink(names: Iterable[str]) -> int:
    """Delete files. Returns how many were named."""
    gone = list(names)
    for name in gone:
        store().delete(_own(name))
    return len(gone)
