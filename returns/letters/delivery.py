"""The outbox's handler for letters: writes one in the person's language and sends it.

A letter that was sent leaves an event, so a repeated message sends nothing. Should the worker die
between sending and that event, the second copy carries the same Message-ID as the first.
"""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from email.mime.image import MIMEImage
from urllib.parse import urlsplit

from django.conf import settings
from django.core.mail import EmailMultiAlternatives
from django.template.loader import render_to_string
from django.utils import timezone, translation
from django.utils.translation import gettext as _

from inventory import events
from inventory.models import Event, OutboxMessage, Workshop, WorkshopLogo
from returns.letters import standing
from returns.letters.texts import Letter, Occasion, compose
from returns.models import Parcel, Person, Question, Request, ReturnedFrame


def send(queued: OutboxMessage) -> None:
    """Send the letter that a message names. Settles without sending when there is nobody to write
    to, and when what it says was taken back meanwhile.

    Raises:
        NotPosted: the mail server refused or is away; the outbox tries again.
    """
    request = _request_of(queued)
    if request is None or not standing.holds(queued, request):
        return
    key, name = sent_keys([queued])[queued.pk], str(queued.payload["letter"])
    # The outbox delivers at least once. The event of an earlier delivery makes this one a repeat.
    if Event.objects.filter(key=key).exists():
        return
    person = request.person
    if person is None or not _address_of(person, name):
        return
    _post(_message(queued, request, person))
    if name == "email_left":
        # The former address was kept for this one letter, and is personal data: gone with it.
        Person.objects.filter(pk=person.pk).update(former_email="")
    events.record(
        key=key,
        name="letters.send",
        subject=request.reference,
        facts=[name, str(queued.pk)],
        at=timezone.now(),
        detail={"letter": name},
    )


def sent_keys(rows: Sequence[OutboxMessage]) -> dict[uuid.UUID, uuid.UUID]:
    """Return by message the key of the event that its sent letter leaves, which bars a second copy.

    Of an arrival and of an empty parcel: that it was told for this parcel, however many frames lay
    in it and however often it was opened again.
    """
    arrived = {row.pk: row.payload["frame"] for row in rows if row.payload["letter"] == "arrived"}
    empty = {row.pk: row.payload["parcel"] for row in rows if row.payload.get("parcel")}
    frames = ReturnedFrame.objects.filter(tag__in=set(arrived.values()))
    parcels = Parcel.objects.filter(code__in=set(empty.values()))
    # One question for all rows, for a page of letters asks for fifty at once.
    keys = dict(frames.values_list("tag", "parcel__key")) if arrived else {}
    keys |= dict(parcels.values_list("code", "key")) if empty else {}
    named = arrived | empty
    return {
        row.pk: uuid.uuid5(keys[named[row.pk]], f"{row.payload['letter']} {row.payload['request']}")
        if row.pk in named
        else uuid.uuid5(row.pk, "sent")
        for row in rows
    }


def _address_of(person: Person, letter: str) -> str:
    return person.former_email if letter == "email_left" else person.email


def _post(message: EmailMultiAlternatives) -> None:
    """Send, or say why not without the address: the outbox keeps an error's text for good."""
    try:
        message.send()
    except (OSError, ValueError) as error:
        # `from None` as well: a mail server's answer, with the address in it, would be chained to
        # this error.
        raise NotPosted(type(error).__name__) from None


class NotPosted(Exception):
    """The mail server or the message itself refused; named by the class of the refusal."""


def _request_of(queued: OutboxMessage) -> Request | None:
    rows = Request.objects.select_related("person", "colourway__model", "colourway__colour")
    return rows.filter(pk=queued.payload["request"]).first()


def _message(queued: OutboxMessage, request: Request, person: Person) -> EmailMultiAlternatives:
    frames = ReturnedFrame.objects.select_related("lot__colour")
    # No tag is a hyphen, so a letter about no frame finds none.
    frame = frames.filter(tag=queued.payload.get("frame") or "-").first()
    workshop = Workshop.the()
    # The worker has no page and no browser: the language is the one in which the person filed.
    with translation.override(_language_of(person)):
        question = Question.objects.filter(pk=queued.payload.get("question")).first()
        occasion = Occasion(request, frame, workshop, question)
        letter = compose(str(queued.payload["letter"]), occasion)
        return _dressed(queued, letter, person, workshop)


def _language_of(person: Person) -> str:
    known = {code for code, _name in settings.LANGUAGES}
    return person.language if person.language in known else settings.LANGUAGE_CODE


def _dressed(
    queued: OutboxMessage, letter: Letter, person: Person, workshop: Workshop
) -> EmailMultiAlternatives:
    host = urlsplit(settings.BASE_URL).hostname or "localhost"
    # Inside the letter and not behind a link: nobody is told when it is opened.
    logo = WorkshopLogo.objects.first() if workshop.logo_digest else None
    facts = {
        "logo": f"logo@{host}" if logo else "",
        "letter": letter,
        "name": person.name,
        "workshop": workshop,
        "language": translation.get_language(),
    }
    message = EmailMultiAlternatives(
        subject=_("Practice: %(subject)s") % {"subject": letter.subject}
        if workshop.demo
        else letter.subject,
        body=render_to_string("returns/letters/letter.txt", facts),
        from_email=settings.DEFAULT_FROM_EMAIL,
        to=[_address_of(person, str(queued.payload["letter"]))],
        reply_to=[workshop.email],
        # The id is the message's own, the same at each try. "Auto-Submitted" keeps answering
        # machines quiet (RFC 3834, 2004, section 5).
        headers={"Message-ID": f"<{queued.pk}@{host}>", "Auto-Submitted": "auto-generated"},
    )
    message.attach_alternative(render_to_string("returns/letters/letter.html", facts), "text/html")
    if logo:
        picture = MIMEImage(bytes(logo.png), "png")
        picture.add_header("Content-ID", f"<{facts['logo']}>")
        picture.add_header("Content-Disposition", "inline", filename="logo.png")
        message.mixed_subtype = "related"  # type: ignore[attr-defined]  # not in the stubs
        message.attach(picture)
    return message
