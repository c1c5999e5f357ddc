"""Finding things by what was typed or scanned, with words that say what to do when it fails."""

from __future__ import annotations

from typing import TypeVar

from django.db.models import Model, QuerySet
from django.utils.translation import gettext as _

from inventory.errors import BadInput, NotFound
from inventory.ledger.sums.scans import bare
from returns.bench.queries import frames
from returns.models import Parcel, Request, ReturnedFrame
from returns.story.sums import codes

RowT = TypeVar("RowT", bound=Model)


def read_code(typed: str, *, prefix: str | None = None) -> str:
    """Return the code meant by what was typed, or scanned as a link. BadInput when it is none."""
    try:
        return codes.normalise(bare(typed), prefix=prefix)
    except codes.BadCode as error:
        raise BadInput(_words(error)) from error


def _words(error: codes.BadCode) -> str:
    words = {
        "code-empty": _("Enter the code printed on the label."),
        "code-length": _("A code has a letter and then eight characters. Check for one missed."),
        "code-prefix": _("That is not the code that belongs here. Look at its first letter."),
        "code-character": _("One of these characters is never used in a code. Look at it again."),
        "code-check": _("One character is wrong or two are swapped. Read it again."),
    }
    return words.get(error.code, error.message)


def _one(rows: QuerySet[RowT]) -> RowT:
    row = rows.first()
    if row is None:
        raise NotFound()
    return row


def request_by(reference: str) -> Request:
    rows = Request.objects.select_related("colourway__model", "colourway__colour")
    return _one(rows.filter(reference=reference))


def parcel_by(code: str) -> Parcel:
    rows = Parcel.objects.select_related("request__colourway__model", "request__colourway__colour")
    return _one(rows.filter(code=code))


def frame_by(tag: str) -> ReturnedFrame:
    frame = frames.by_tag(tag)
    if frame is None:
        raise NotFound()
    return frame
