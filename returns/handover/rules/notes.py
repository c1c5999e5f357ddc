"""Notes from one shift to the next: written, done by a tick, and kept."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING
from uuid import UUID

from django.utils.translation import gettext as _

from inventory import events
from inventory.errors import BadInput
from inventory.events import Draft
from returns.models import HandoverNote, ReturnedFrame

if TYPE_CHECKING:
    from django.contrib.auth.models import User

NOTE_LENGTH_MAX = 300


@events.rule(
    "handover.note",
    facts=lambda text, frame: [events.sealed("note", text.strip()), frame.tag if frame else ""],
    again=lambda event: HandoverNote.objects.get(pk=event.detail["note"]),
)
def write(
    event: Draft, /, *, key: UUID, text: str, frame: ReturnedFrame | None, at: datetime, by: User
) -> HandoverNote:
    """Leave a note for one frame, or for all. The event holds no word of it.

    Raises BadInput for an empty note or one that is too long.
    """
    if not 1 <= len(text.strip()) <= NOTE_LENGTH_MAX:
        raise BadInput(
            _("Write the note in up to %(most)s characters.") % {"most": NOTE_LENGTH_MAX},
            field="text",
        )
    note = HandoverNote.objects.create(text=text.strip(), frame=frame, written_at=at, written_by=by)
    event.of(f"note-{note.pk}", note=note.pk, of=frame.tag if frame else "")
    return note


@events.rule(
    "handover.note_done",
    facts=lambda note: [note.pk],
    again=lambda note: HandoverNote.objects.get(pk=note.pk),
)
def tick(event: Draft, /, *, key: UUID, note: HandoverNote, at: datetime, by: User) -> HandoverNote:
    """Say that a note is done. Who was slower finds it done, and changes nothing."""
    rows = HandoverNote.objects.filter(pk=note.pk, done_at=None)
    if rows.update(done_at=at, done_by=by):
        event.of(f"note-{note.pk}")
    else:
        event.drop()
    return HandoverNote.objects.get(pk=note.pk)
