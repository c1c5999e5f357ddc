"""Photos that the bench takes of a frame: drawn anew and kept as customers' photos are.

They are the customer's data as well: they go when the customer's photos go, and no page shows them
to anybody but the bench.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any
from uuid import UUID

from django.utils.translation import gettext as _

from inventory import events
from inventory.errors import BadInput, StaleState
from inventory.events import Draft
from inventory.models import Workshop
from returns.filing.rules import photos
from returns.filing.rules.photos import Picture
from returns.models import BenchPhoto, ReturnedFrame
from returns.models.catalogue import ComponentKey
from returns.models.remedies import DefectKey

if TYPE_CHECKING:
    from django.contrib.auth.models import User

PHOTOS_MAX = 12


def _facts(frame: ReturnedFrame, pictures: Sequence[Picture], shows: str) -> list[Any]:
    # Sealed: once a photo is erased, nothing kept may tell whether a file was it.
    digests = [hashlib.sha256(one.jpeg).hexdigest() for one in pictures]
    return [frame.tag, [events.sealed("bench-photo", one) for one in digests], shows]


@events.rule(
    "handover.photos",
    facts=_facts,
    again=lambda event: list(BenchPhoto.objects.filter(pk__in=event.detail["photos"])),
)
def take(
    event: Draft,
    /,
    *,
    key: UUID,
    frame: ReturnedFrame,
    pictures: Sequence[Picture],
    shows: str,
    at: datetime,
    by: User,
) -> list[BenchPhoto]:
    """Keep pictures of a frame. `shows` is "component|defect", "component|" or "" for all of it.

    Raises BadInput without a picture, for too many, or for what no frame has; StaleState once the
    frame has left.
    """
    component, _sign, defect = shows.partition("|")
    if component not in {"", *ComponentKey} or defect not in {"", *DefectKey}:
        raise BadInput(_("Choose what the photo shows."), field="shows")
    if not pictures:
        raise BadInput(_("Take or choose a photo."), field="photos")
    # Locked, so that of two hands neither goes over what one frame may have.
    held = ReturnedFrame.objects.select_for_update().get(pk=frame.pk)
    if held.ended_at is not None:
        raise StaleState()
    if held.bench_photos.count() + len(pictures) > PHOTOS_MAX:
        raise BadInput(
            _("At most %(most)s photos of a frame. Delete one first.") % {"most": PHOTOS_MAX},
            field="photos",
        )
    kept = [_kept(held, one, (component, defect), at, by) for one in pictures]
    # Not under the frame's tag: who looks it over meanwhile must not be refused for a photo.
    event.of(f"photos-{frame.tag}", photos=[one.pk for one in kept])
    return kept


def _kept(
    frame: ReturnedFrame, picture: Picture, shows: tuple[str, str], at: datetime, by: User
) -> BenchPhoto:
    return BenchPhoto.objects.create(
        frame=frame,
        component=shows[0],
        defect=shows[1],
        file_name=photos.stored(picture),
        width=picture.width,
        height=picture.height,
        taken_at=at,
        taken_by=by,
    )


@events.rule(
    "handover.photo_deleted",
    facts=lambda photo: [photo.pk],
    again=lambda photo: photo.frame,
)
def delete(
    event: Draft, /, *, key: UUID, photo: BenchPhoto, at: datetime, by: User
) -> ReturnedFrame:
    """Delete a photo, say of the wrong frame or with a face in it. That it was there is kept."""
    photos.forget([photo])
    event.of(f"photos-{photo.frame.tag}", photo=photo.pk)
    return photo.frame


def forget_unclaimed(at: datetime) -> int:
    """Delete photos of frames that nobody asked about, once kept as long as personal data is."""
    limit = at - timedelta(days=Workshop.the().retention_days)
    old = BenchPhoto.objects.filter(frame__request=None, frame__ended_at__lt=limit)
    return photos.forget(list(old))
