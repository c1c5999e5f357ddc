"""Photos of a form that has not been filed yet: kept on the server under the form's one-time key.

So neither an error in another field nor the question whether a screw would do costs a customer the
upload. What is never filed is deleted after a day.
"""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from uuid import UUID

from django.db import transaction
from django.utils.translation import gettext as _

from inventory.errors import BadInput
from returns.filing.rules import photos
from returns.filing.rules.photos import PHOTOS_MAX, Picture
from returns.models import DraftPhoto


@transaction.atomic
def add(
    *, form: UUID, pictures: Sequence[Picture], at: datetime, number: int = 1
) -> list[DraftPhoto]:
    """Keep pictures of one of a form's frames. What was sent before is not kept twice.

    Raises:
        BadInput: there would be more than four of it.
    """
    # Of the picture as drawn anew, which comes out the same for the same upload.
    digests = [hashlib.sha256(picture.jpeg).hexdigest() for picture in pictures]
    # Counted and not a set: the same picture chosen twice in one go is two pictures.
    kept = DraftPhoto.objects.filter(form=form, number=number)
    there = Counter(kept.values_list("digest", flat=True))
    new = []
    for picture, digest in zip(pictures, digests, strict=True):
        # The browser may send again what is here: a back button, a second press.
        if there[digest]:
            there[digest] -= 1
        else:
            new.append((picture, digest))
    if kept.count() + len(new) > PHOTOS_MAX:
        raise BadInput(_("At most %(most)s photos, please.") % {"most": PHOTOS_MAX}, field="photos")
    return [_keep(form, replace(picture, number=number), digest, at) for picture, digest in new]


def _keep(form: UUID, picture: Picture, digest: str, at: datetime) -> DraftPhoto:
    return DraftPhoto.objects.create(
        form=form,
        number=picture.number,
        file_name=photos.stored(picture),
        digest=digest,
        width=picture.width,
        height=picture.height,
        added_at=at,
    )


def pictures(form: UUID) -> list[Picture]:
    """Return the pictures kept for a form, to be filed with it."""
    # A file may have been lost since, say by a restore; that is no reason to refuse the whole
    # filing.
    rows = [row for row in of(form) if photos.is_there(row.file_name)]
    return [Picture(photos.read(row.file_name), row.width, row.height, row.number) for row in rows]


def of(form: UUID) -> list[DraftPhoto]:
    """Return what is kept for a form, in the order in which it came."""
    return list(DraftPhoto.objects.filter(form=form).order_by("pk"))


def drop(*, form: UUID, file_names: Sequence[str]) -> int:
    """Forget some of a form's photos, as its customer wishes. Returns how many."""
    return _remove([row for row in of(form) if row.file_name in set(file_names)])


def drop_frame(*, form: UUID, number: int) -> int:
    """Forget the photos of a frame that was taken out of a form. Returns how many."""
    return _remove([row for row in of(form) if row.number == number])


def clear(form: UUID) -> int:
    """Forget all of a form's photos: it was filed, and the request has its own copies."""
    return _remove(of(form))


def rebind(*, before: UUID, form: UUID) -> None:
    """Hand the photos on to the key that a form goes on with."""
    DraftPhoto.objects.filter(form=before).update(form=form)


def prune(*, older_than: datetime) -> int:
    """Forget what was never filed. Returns how many."""
    return _remove(list(DraftPhoto.objects.filter(added_at__lt=older_than)))


def _remove(rows: Sequence[DraftPhoto]) -> int:
    DraftPhoto.objects.filter(pk__in=[row.pk for row in rows]).delete()
    names = [row.file_name for row in rows]
    transaction.on_commit(lambda: photos.unlink(names), robust=True)
    return len(names)
