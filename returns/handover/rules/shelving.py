"""Where a frame or a box stands: said by whoever puts it there, taken back by an empty code."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING
from uuid import UUID

from django.utils.translation import gettext as _

from inventory import events
from inventory.errors import BadInput
from inventory.events import Draft
from inventory.ledger.sums.scans import bare
from inventory.models import Place
from returns.handover.sums import SHELF_LENGTH_MAX
from returns.handover.sums import shelf as written
from returns.models import ReturnedFrame, ShelfPlace
from returns.story.sums import codes

if TYPE_CHECKING:
    from django.contrib.auth.models import User


def _subject(thing: ReturnedFrame | Place) -> str:
    return thing.tag if isinstance(thing, ReturnedFrame) else thing.code


@events.rule(
    "handover.shelve",
    facts=lambda thing, shelf: [_subject(thing), shelf.strip()],
    again=lambda event: event.detail["shelf"],
)
def put(
    event: Draft, /, *, key: UUID, thing: ReturnedFrame | Place, shelf: str, at: datetime, by: User
) -> str:
    """Say on which shelf a frame or a box stands. Returns the shelf's code; "" for on none.

    Raises BadInput for what is no shelf's code, or the code of something else.
    """
    code = read(shelf) if shelf.strip() else ""
    subject = _subject(thing)
    if code:
        ShelfPlace.objects.update_or_create(
            subject=subject, defaults={"shelf": code, "set_at": at, "set_by": by}
        )
    else:
        ShelfPlace.objects.filter(subject=subject).delete()
    # Not under the frame's own tag: who looks it over meanwhile must not be refused for a shelf.
    event.of(f"shelf-{thing.pk}", of=subject, shelf=code)
    return code


def read(typed: str) -> str:
    """Return the shelf's code that was typed or scanned. BadInput when it is none."""
    text = bare(typed)
    if _is_ours(text):
        raise BadInput(
            _("This is the code of a thing, not of a shelf. Scan the shelf's label."), field="shelf"
        )
    try:
        return written(text)
    except ValueError as error:
        raise BadInput(
            _("A shelf's code has letters and digits, at most %(most)s, such as A3.")
            % {"most": SHELF_LENGTH_MAX},
            field="shelf",
        ) from error


def _is_ours(text: str) -> bool:
    try:
        codes.normalise(text)
    except codes.BadCode as error:
        # Of a code of ours with one sign misread, too, no shelf is made.
        return error.code == "code-check"
    return True
