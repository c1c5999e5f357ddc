"""Who a customer is: checking an address, writing it down, erasing it, handing it out to its owner.

Personal data lives in `Person` and in photos alone. Events, outbox messages and the ledger hold
codes, so erasing a person changes no figure.
"""

from __future__ import annotations

import hashlib
import hmac
import json
import secrets
from dataclasses import asdict, dataclass, replace
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING, Any
from uuid import UUID

from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.db.models import Max, Q
from django.utils.translation import gettext as _

from inventory import events
from inventory.errors import BadInput, Conflict
from inventory.events import Draft
from inventory.models import Workshop
from returns.customers import sums as addresses
from returns.filing.queries import frames as filed_frames
from returns.filing.rules import photos
from returns.models import BenchPhoto, PartnerSlip, Person, Request, WalkIn

if TYPE_CHECKING:
    from django.contrib.auth.models import User


JOINERS = "\u200c\u200d"
"""Zero-width characters that Persian and Indian names are written with, and no line ends at."""


@dataclass(frozen=True, slots=True)
class Contact:
    """How to reach a customer, as typed. `country` is ISO 3166-1 alpha-2."""

    name: str
    email: str
    street: str
    extra: str
    postal_code: str
    city: str
    region: str
    country: str
    language: str = "en"

    def values(self) -> list[str]:
        """Return the fields in order, for a fingerprint."""
        return list(asdict(self).values())


def checked(contact: Contact) -> Contact:
    """Return the contact with its blanks trimmed. BadInput names the first field that is wrong."""
    tidy = _tidied(contact)
    _refuse_bad_email(tidy.email)
    return _with_good_address(tidy)


def checked_without_email(contact: Contact) -> Contact:
    """The same of somebody at the counter, who need not give an email."""
    tidy = _tidied(contact)
    if tidy.email:
        _refuse_bad_email(tidy.email)
    return _with_good_address(tidy)


def _tidied(contact: Contact) -> Contact:
    tidy = Contact(**{name: _one_line(text, name) for name, text in asdict(contact).items()})
    # Codes are compared in capitals, whoever typed them.
    tidy = replace(tidy, country=tidy.country.upper(), postal_code=tidy.postal_code.upper())
    if not tidy.name:
        raise BadInput(_("Enter your name, as it is on your letter box."), field="name")
    return tidy


def _with_good_address(tidy: Contact) -> Contact:
    # The first slip ends it: a rule refuses one field, and the form shows the others when it is
    # sent again.
    for part, slip in address_slips(tidy).items():
        raise BadInput(slip, field=part)
    return tidy


def address_slips(contact: Contact) -> dict[str, str]:
    """Return what to mend in an address: field name to a sentence. Empty when it will do."""
    if len(contact.country) != 2 or not contact.country.isascii() or not contact.country.isalpha():
        return {"country": _("Choose a country.")}
    address = addresses.Address(
        street=contact.street,
        postal_code=contact.postal_code,
        city=contact.city,
        region=contact.region,
        country=contact.country,
    )
    example = addresses.shape_of(contact.country).example
    return {
        part.value: _sentence(part, slip, example)
        for part, slip in addresses.slips(address).items()
    }


def _sentence(part: addresses.Part, slip: addresses.Slip, example: str) -> str:
    if slip is addresses.Slip.SHAPE:
        return _("A postal code there looks like %(example)s.") % {"example": example}
    return {
        addresses.Part.STREET: _("Enter the street and number, or the PO box."),
        addresses.Part.POSTAL_CODE: _("Enter the postal code, such as %(example)s.")
        % {"example": example},
        addresses.Part.CITY: _("Enter the town or city."),
        addresses.Part.REGION: _("Enter the state, province or region."),
    }[part]


def _one_line(text: str, name: str) -> str:
    """Trim a text. BadInput when it is too long or could start a new header line."""
    tidy = text.strip().strip(JOINERS).strip()
    # A line end in a name could smuggle a header into a letter. `isprintable` is false of all of
    # them, and of the joiners, which must pass.
    if any(not character.isprintable() and character not in JOINERS for character in tidy):
        raise BadInput(_("Use one line of plain text here."), field=name)
    room = getattr(Person._meta.get_field(name), "max_length", None)
    if room is not None and len(tidy) > room:
        raise BadInput(_("This is too long; %(room)s characters fit.") % {"room": room}, field=name)
    return tidy


def _refuse_bad_email(email: str) -> None:
    try:
        validate_email(email)
    except ValidationError as error:
        raise BadInput(
            _("Enter an email address, such as name@example.org."), field="email"
        ) from error


def write_down(contact: Contact) -> Person:
    """Make a new person row for one request.

    People are never merged by their email: nobody has proved that it is theirs, and a stranger
    who types it must not be able to change where an earlier request is posted to.
    """
    return Person.objects.create(**asdict(contact))


def rewrite(person: Person, contact: Contact) -> None:
    """Put a checked contact in the place of the old one."""
    Person.objects.filter(pk=person.pk).update(**asdict(contact))
    person.refresh_from_db()


def mark(texts: list[str], salt: str) -> str:
    """Return a fingerprint of personal texts that means nothing once `salt` is gone, 64 hex digits.

    Events are never deleted, so what they hold must not lead back to a person after an erasure:
    the salt is replaced then.
    """
    text = json.dumps(texts, ensure_ascii=False)
    # Keyed by the salt: a plain hash of a name could be found by trying names.
    return hmac.new(salt.encode(), text.encode(), hashlib.sha256).hexdigest()


def open_requests(person: Person) -> list[Request]:
    """Return the requests whose story goes on, which still need the person's address."""
    return list(person.requests.filter(ended_at=None))


@events.rule(
    "people.erase",
    facts=lambda person: ["erase", person.pk],
    again=lambda person: Person.objects.get(pk=person.pk),
)
def erase(
    event: Draft, /, *, key: UUID, person: Person, at: datetime, by: User | None = None
) -> Person:
    """Delete name, email, address, notes and photos; keep the rows that figures stand on.

    What is deleted already stays so, and no second event is written.

    Raises:
        Conflict: a request of theirs is still open; end or withdraw it first.
    """
    # Locked, so that two erasures take turns and the second finds the first one done. SQLite
    # ignores the lock, and its writers take turns anyhow.
    person = Person.objects.select_for_update().get(pk=person.pk)
    if person.erased_at is not None:
        event.drop()
        return person
    waiting = open_requests(person)
    if waiting:
        raise Conflict(
            _("End or withdraw %(references)s first: it still needs the address.")
            % {"references": ", ".join(request.reference for request in waiting)}
        )
    for request in person.requests.all():
        _forget_request(request)
    _blank(person, at)
    event.of(f"person-{person.pk}")
    return person


def _forget_request(request: Request) -> None:
    """Forget a request: its link dies with its salt, as does every fingerprint made with it."""
    photos.remove_all(request)
    # What was asked and answered is about a frame, but is written by hand and may name anybody.
    request.questions.update(text="", choices=[], chosen="", answer="")
    dead = secrets.token_hex(32)
    request.further_frames.update(note="")
    Request.objects.filter(pk=request.pk).update(
        note="", carrier_number="", link_salt=secrets.token_hex(24), link_hash=dead
    )


def _blank(person: Person, at: datetime) -> None:
    for name in Contact.__slots__:
        # The language stays: it tells nothing of who it was.
        if name != "language":
            setattr(person, name, "")
    person.former_email = ""
    person.erased_at = at
    person.save()


def expired(at: datetime) -> list[Person]:
    """Return people whose every story ended longer ago than the workshop keeps personal data."""
    limit = at - timedelta(days=Workshop.the().retention_days)
    known = Person.objects.filter(erased_at=None)
    # Max passes over what has not ended, so whoever has anything open is taken out by itself. At
    # most 200 at a time: the sweep comes again.
    known = known.annotate(last_end=Max("requests__ended_at")).filter(last_end__lt=limit)
    return list(known.exclude(requests__ended_at=None).order_by("pk")[:200])


def _copy(person: Person) -> dict[str, Any]:
    if person.erased_at is not None:
        raise Conflict(_("Their data has been deleted. There is nothing to hand out."))
    return export(person)


@events.rule("people.hand_out", facts=lambda person: ["hand_out", person.pk], again=_copy)
def hand_out(
    event: Draft, /, *, key: UUID, person: Person, at: datetime, by: User
) -> dict[str, Any]:
    """Make the copy that a person asked for. The history says that it was made, and nothing of it.

    Raises:
        Conflict: their data has been deleted.
    """
    event.of(f"person-{person.pk}")
    return _copy(person)


def export(person: Person) -> dict[str, Any]:
    """Return all that is held about one person, JSON-able: contact, requests, photos, dispatches.

    Mass and grading of a frame are under its tag; they are about the frame.
    """
    contact = {field: getattr(person, field) for field in Contact.__slots__}
    contact["former_email"] = person.former_email
    return {
        "contact": contact,
        "requests": [_exported(request) for request in person.requests.order_by("filed_at")],
    }


def _exported(request: Request) -> dict[str, Any]:
    return {
        "reference": request.reference,
        "kind": request.kind,
        "state": request.state,
        "colourway": request.frame_words,
        "component": request.component,
        "defect": request.defect,
        "troubles": [[one.component, one.defect] for one in request.troubles.filter(number=1)],
        "note": request.note,
        "wish": request.wish,
        "lenses_back": request.lenses_back,
        "further_frames": [
            {
                "number": one.number,
                "colourway": one.words,
                "troubles": [list(pair) for pair in one.troubles],
                "note": one.note,
                "wish": one.wish,
                "lenses_back": one.lenses_back,
            }
            for one in filed_frames.of(request)[1:]
        ],
        "notice_version": request.notice_version,
        "filed_at": request.filed_at.isoformat(),
        "promised_by": _written(request.promised_by),
        "posted_at": _written(request.posted_at),
        "ended_at": _written(request.ended_at),
        "sent_at": _written(request.sent_at),
        "carrier_number": request.carrier_number,
        "collects": request.collects,
        "revived_at": _written(request.revived_at),
        "reminded_at": _written(request.reminded_at),
        "consent": [
            {"way": one.consent, "at": one.at.isoformat()}
            for one in WalkIn.objects.filter(request=request)
        ],
        "partner_slips": [
            {"code": one.code, "partner": str(one.partner), "arrived_at": _written(one.arrived_at)}
            for one in PartnerSlip.objects.filter(request=request).select_related("partner")
        ],
        "photos": [
            {
                "file_name": photo.file_name,
                "number": photo.number,
                "added_at": photo.added_at.isoformat(),
            }
            for photo in request.photos.order_by("pk")
        ],
        "photos_taken_here": [
            {"file_name": photo.file_name, "taken_at": photo.taken_at.isoformat()}
            for photo in BenchPhoto.objects.filter(frame__request=request)
        ],
        "questions": [
            {
                "frame": one.frame.tag,
                "asked_at": one.asked_at.isoformat(),
                "text": one.text,
                "choices": one.choices,
                "state": one.state,
                "closed_at": _written(one.closed_at),
                "chosen": one.chosen,
                "answer": one.answer,
                "photos": [photo.file_name for photo in one.photos.all()],
            }
            for one in request.questions.select_related("frame").order_by("pk")
        ],
        "parcels": [
            {"code": parcel.code, "arrived_at": parcel.arrived_at.isoformat()}
            for parcel in request.parcels.order_by("pk")
        ],
        "frames": [frame.tag for frame in request.frames.order_by("pk")],
        "dispatches": [
            {
                "code": parcel.code,
                "kind": parcel.kind,
                "posted_at": _written(parcel.posted_at),
                "at_counter": parcel.at_counter,
                "missing_reported_at": _written(parcel.missing_reported_at),
            }
            for parcel in request.dispatches.order_by("pk")
        ],
    }


def _written(moment: date | None) -> str | None:
    """Write a day or moment in ISO 8601; None while there is none."""
    return moment.isoformat() if moment else None


def same_person(email: str) -> Q:
    """Select requests filed under an email, however it is capitalised."""
    return Q(person__email__iexact=email)


SEARCH = "people.search"
WANTED_LENGTH = range(3, 101)
REASON_LENGTH = range(5, 201)
FOUND_MAX = 50


@events.rule(
    SEARCH,
    # The name or email enters the history as a keyed mark alone: it proves a repeat, and leads
    # nobody to a person who was erased.
    facts=lambda wanted, reason: [
        events.sealed(SEARCH, _folded(wanted)),
        events.sealed(SEARCH, reason.strip()),
    ],
    again=lambda wanted: _found(_folded(wanted)),
)
def search(
    event: Draft, /, *, key: UUID, wanted: str, reason: str, at: datetime, by: User
) -> list[Request]:
    """Find requests by a piece of their customer's name or email, the newest first.

    The history keeps who searched, when, why, and which references came up; never what was typed.

    Raises:
        BadInput: too little or too much was typed, or no reason.
    """
    folded, why = _folded(wanted), " ".join(reason.split())
    if len(folded) not in WANTED_LENGTH or not folded.isprintable():
        raise BadInput(
            _("Type %(least)s to %(most)s characters of the name or the email.")
            % {"least": WANTED_LENGTH[0], "most": WANTED_LENGTH[-1]},
            field="wanted",
        )
    if len(why) not in REASON_LENGTH or not why.isprintable():
        raise BadInput(
            _("Say why you search, in %(least)s to %(most)s characters.")
            % {"least": REASON_LENGTH[0], "most": REASON_LENGTH[-1]},
            field="reason",
        )
    if folded in why.casefold():
        # The history is kept for good: a person who is erased must not live on in a reason.
        raise BadInput(
            _("Name no customer in the reason: it is kept when their data are deleted."),
            field="reason",
        )
    found = _found(folded)
    event.of("customers", reason=why, found=[request.reference for request in found])
    return found


def _folded(text: str) -> str:
    return " ".join(text.split()).casefold()


def _found(folded: str) -> list[Request]:
    # Compared here and not by the database: SQLite knows capitals of ASCII only.
    rows = Person.objects.filter(erased_at=None).values_list("pk", "name", "email")
    fits = [
        pk
        for pk, name, email in rows.order_by("-pk").iterator()
        if folded in _folded(name) or folded in email.casefold()
    ]
    requests = Request.objects.filter(person__in=fits[:FOUND_MAX]).select_related("person")
    return list(requests.order_by("-filed_at", "-pk")[:FOUND_MAX])
