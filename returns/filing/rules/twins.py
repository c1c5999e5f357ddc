"""Finds a request that was filed twice by mistake: the same words from the same person. Reads.

The one-time key of a form makes a repeat harmless. This meets the repeats whose key is new: a
form typed again because no answer came, or got back to in a browser that fetched it anew.
"""

from __future__ import annotations

from dataclasses import asdict
from datetime import datetime, timedelta
from typing import Final
from uuid import UUID

from inventory.errors import BadInput
from returns.customers import rules as people
from returns.filing.queries import frames
from returns.filing.queries.frames import FiledFrame
from returns.filing.rules.intake import AskedFrame, Filing
from returns.models import Request
from returns.story.sums.states import RequestState

# Within this time the same words are most likely about the same frame (own choice).
SAME_AGAIN: Final = timedelta(days=1)


def of(*, key: UUID, filing: Filing, kind: Request.Kind, at: datetime) -> Request | None:
    """The newest request that says the same to the letter, filed under another key within a day.

    None when the key itself has been used, or the contact will not do: the rule answers those.
    """
    if Request.objects.filter(key=key).exists():
        return None
    try:
        contact = asdict(people.checked(filing.contact))
    except BadInput:
        return None
    # The same person may come back with the page in another language.
    del contact["language"]
    rows = Request.objects.filter(
        kind=kind,
        colourway=filing.colourway,
        component=filing.component,
        defect=filing.defect,
        note=filing.note.strip(),
        wish=filing.wish,
        lenses_back=filing.lenses_back,
        filed_at__gt=at - SAME_AGAIN,
        **{f"person__{name}": typed for name, typed in contact.items()},
    )
    rows = rows.exclude(state=RequestState.WITHDRAWN.value).order_by("-filed_at")
    # Further troubles and frames are compared in memory: at most a handful of rows from one person
    # within a day.
    said = [_said(frame) for frame in filing.frames]
    return next((found for found in rows if list(map(_filed, frames.of(found))) == said), None)


def _said(frame: AskedFrame) -> tuple[object, ...]:
    troubles = {(frame.component, frame.defect), *frame.more}
    return (frame.colourway, frame.note.strip(), frame.wish, frame.lenses_back, troubles)


def _filed(frame: FiledFrame) -> tuple[object, ...]:
    return (frame.colourway, frame.note, frame.wish, frame.lenses_back, set(frame.troubles))
