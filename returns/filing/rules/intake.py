"""Filing a request, its private link, and what a customer may still change before the post goes."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any, Final, Protocol, TypeVar
from uuid import UUID

from django.db import transaction
from django.db.models import F, Q, QuerySet
from django.utils.translation import gettext as _

from inventory import events
from inventory.errors import BadInput, Conflict, KeyReused, NotFound, StaleState
from inventory.events import Draft
from inventory.models import Workshop
from inventory.parts import rules as stock
from returns.customers import rules as people
from returns.customers.rules import Contact
from returns.filing.rules import photos
from returns.furniture import links
from returns.kits import queries as kit_stock
from returns.kits.rules import kits
from returns.letters import rules as letters
from returns.models import (
    Colourway,
    Dispatch,
    FurtherFrame,
    PartnerSlip,
    Person,
    Request,
    Trouble,
)
from returns.models.catalogue import ComponentKey
from returns.models.filing import Wish
from returns.models.remedies import DefectKey
from returns.story.sums import codes
from returns.story.sums.states import FrameState, RequestState

Made = TypeVar("Made")

NOTICE_VERSION: Final = "1"
NOTE_LENGTH_MAX: Final = 500
TROUBLES_MAX: Final = 3
# With four photos each they come to the twenty files that one form may bring.
FRAMES_MAX: Final = 5
# Before the last thing of theirs has left the house, its address may change.
OPEN_STATES: Final = (
    RequestState.AWAITED,
    RequestState.ARRIVED,
    RequestState.RESERVED,
    RequestState.WAITING_STOCK,
    RequestState.REPORTED_MISSING,
)
# Before anything was posted either way, its customer may take it back.
_WITHDRAWABLE: Final = (
    RequestState.AWAITED,
    RequestState.RESERVED,
    RequestState.WAITING_STOCK,
)


@dataclass(frozen=True, slots=True)
class AskedFrame:
    """What a customer says of one frame: see `Filing`. `more` are further pairs of a component
    and a defect on it.
    """

    colourway: Colourway | None
    component: str
    defect: str
    note: str
    wish: str
    lenses_back: bool
    more: tuple[tuple[str, str], ...] = ()

    def facts(self, salt: str) -> list[Any]:
        """What was asked, for the fingerprint."""
        return [
            self.colourway.pk if self.colourway else None,
            self.component,
            self.defect,
            people.mark([self.note.strip()], salt),
            self.wish,
            self.lenses_back,
            [list(pair) for pair in sorted(self.more)],
        ]


@dataclass(frozen=True, slots=True)
class Filing:
    """What a customer asks for. `wish` stays empty when they ask for screws only; `colourway` is
    None for a frame to be sent back whose model they cannot tell. `further` are more frames to be
    sent back in the same parcel.
    """

    colourway: Colourway | None
    component: str
    defect: str
    note: str
    wish: str
    lenses_back: bool
    notice_version: str
    contact: Contact
    # Further pairs of a component and a defect on the same frame.
    more: tuple[tuple[str, str], ...] = ()
    further: tuple[AskedFrame, ...] = ()

    @classmethod
    def of(cls, frames: Sequence[AskedFrame], *, notice_version: str, contact: Contact) -> Filing:
        """Return the filing of these frames, the first one first; at least one."""
        first, *further = frames
        return cls(
            colourway=first.colourway,
            component=first.component,
            defect=first.defect,
            note=first.note,
            wish=first.wish,
            lenses_back=first.lenses_back,
            notice_version=notice_version,
            contact=contact,
            more=first.more,
            further=tuple(further),
        )

    @property
    def frames(self) -> list[AskedFrame]:
        """Every frame, the first one first."""
        first = AskedFrame(
            colourway=self.colourway,
            component=self.component,
            defect=self.defect,
            note=self.note,
            wish=self.wish,
            lenses_back=self.lenses_back,
            more=self.more,
        )
        return [first, *self.further]


def screws_would_do(*, component: str, defect: str) -> bool:
    """Whether the trouble is a loose or lost screw, which is mended at home with a kit."""
    if defect == DefectKey.LOOSE:
        return True
    screws = {ComponentKey.SCREW_LEFT, ComponentKey.SCREW_RIGHT}
    return defect == DefectKey.MISSING and component in screws


def file_return(
    *, key: UUID, filing: Filing, at: datetime, pictures: Sequence[photos.Picture] = ()
) -> Request:
    """File frames to be sent back. A repeat under the same key returns the same request.

    Raises:
        BadInput: a field will not do; `field` names it, and `number` its frame.
        KeyReused: the key was used for another filing.
    """
    return once(lambda: _file_return(key=key, plan=planned(key, filing), pictures=pictures, at=at))


def ask_screws(
    *, key: UUID, filing: Filing, at: datetime, pictures: Sequence[photos.Picture] = ()
) -> Request:
    """Ask for a spare kit: promised from stock at once, or waiting for stock.

    Raises:
        BadInput: a field will not do, the frame has no kit, or the limit of kits is reached.
        KeyReused: the key was used for another filing.
    """
    return once(lambda: _ask_screws(key=key, plan=planned(key, filing), pictures=pictures, at=at))


def once(file: Callable[[], Made]) -> Made:
    """Call a rule that files. Of two that file under one key at the same moment, the slower finds
    what the other wrote: planned anew, its fingerprint is made with the other's salt.
    """
    try:
        return file()
    except KeyReused:
        return file()


def _filed(key: UUID) -> Request:
    return Request.objects.get(key=key)


# A browser that sends a form again sends its photos again; those that were kept stay.
@events.rule("intake.file_return", facts=lambda plan: plan.facts, again=_filed, aside=["pictures"])
def _file_return(
    event: Draft, /, *, key: UUID, plan: Plan, pictures: Sequence[photos.Picture], at: datetime
) -> Request:
    request = write_return(plan, at=at)
    # Files are no part of a transaction. Should it roll back, `remove_orphans` finds what no row
    # names.
    photos.keep(request=request, pictures=pictures, at=at)
    # The reference and nothing else: the audit history is kept for good, and a person must be
    # erasable.
    event.of(request.reference)
    letters.enqueue(letter="filed", request=request, at=at)
    return request


@events.rule("intake.ask_screws", facts=lambda plan: plan.facts, again=_filed, aside=["pictures"])
def _ask_screws(
    event: Draft, /, *, key: UUID, plan: Plan, pictures: Sequence[photos.Picture], at: datetime
) -> Request:
    if plan.filing.colourway is None:
        raise BadInput(_("Choose one of our frames."), field="colourway")
    if plan.filing.further:
        raise BadInput(_("A kit is for one frame. Ask for the next frame's kit by itself."))
    model = plan.filing.colourway.model
    kits.refuse_over_limit(model=model, email=plan.contact.email, at=at)
    # Needed before the request exists: the kit is promised to this reference, and the state of the
    # request hangs on that promise.
    reference = fresh_reference()
    state = kits.reserve(colourway=plan.filing.colourway, subject=reference, at=at)
    reserved = state is RequestState.RESERVED
    request = _write(
        plan,
        reference=reference,
        kind=Request.Kind.SCREWS,
        state=state.value,
        filed_at=at,
        promised_by=kit_stock.promise_day(at) if reserved else None,
    )
    photos.keep(request=request, pictures=pictures, at=at)
    event.of(request.reference, state=state.value)
    letters.enqueue(letter="filed" if reserved else "waiting_stock", request=request, at=at)
    return request


@dataclass(frozen=True, slots=True)
class Plan:
    """A filing that passed its checks, with the salt that its fingerprint and link come from."""

    key: UUID
    filing: Filing
    contact: Contact
    salt: str
    facts: list[Any]


def planned(
    key: UUID, filing: Filing, *, checked: Callable[[Contact], Contact] = people.checked
) -> Plan:
    """Check a filing and work out its fingerprint. BadInput names the field that will not do.

    `checked` is what makes sure of the contact.
    """
    contact = checked(filing.contact)
    _refuse_bad_filing(filing)
    # A repeat has to come to the same fingerprint, so it is marked under the salt of the first
    # filing.
    earlier = Request.objects.filter(key=key).first()
    salt = earlier.link_salt if earlier else links.fresh_salt()
    facts: list[Any] = [
        filing.colourway.pk if filing.colourway else None,
        filing.component,
        filing.defect,
        # Personal words enter the fingerprint as a keyed mark under a random salt: equal for a
        # repeat, of no use to anybody who reads the events.
        people.mark([filing.note.strip(), *contact.values()], salt),
        filing.wish,
        filing.lenses_back,
        filing.notice_version,
    ]
    if filing.more:
        # Sorted, as the order of further troubles says nothing; and only where there are any, so
        # that older fingerprints still hold.
        facts += [list(pair) for pair in sorted(filing.more)]
    if filing.further:
        facts += [["frames", [one.facts(salt) for one in filing.further]]]
    return Plan(key, filing, contact, salt, facts)


def _refuse_bad_filing(filing: Filing) -> None:
    if len(filing.frames) > FRAMES_MAX:
        raise BadInput(
            _("At most %(most)s frames in one request. File the others in another one.")
            % {"most": FRAMES_MAX}
        )
    for number, frame in enumerate(filing.frames, start=1):
        with _of_frame(number, filing):
            _refuse_bad_frame(frame)
    if filing.notice_version != NOTICE_VERSION:
        raise BadInput(_("Read the notice and tick that you have read it."), field="notice")


@contextmanager
def _of_frame(number: int, filing: Filing) -> Iterator[None]:
    """Name the frame in a refusal, where there are several."""
    try:
        yield
    except BadInput as error:
        if not filing.further:
            raise
        message = _("Frame %(number)s: %(fault)s") % {"number": number, "fault": error.message}
        raise BadInput(message, field=error.field, number=number) from error


def _refuse_missing_wish(filing: Filing) -> None:
    for number, frame in enumerate(filing.frames, start=1):
        with _of_frame(number, filing):
            if frame.wish not in Wish.values:
                raise BadInput(_("Say what we may do if it cannot be mended."), field="wish")


def _refuse_bad_frame(frame: AskedFrame) -> None:
    colourway = frame.colourway
    if colourway and not (colourway.active and colourway.model.active):
        raise BadInput(_("Choose one of our frames."), field="colourway")
    if frame.component not in ComponentKey.values:
        raise BadInput(_("Choose the part that is broken."), field="component")
    if frame.defect not in DefectKey.values:
        raise BadInput(_("Choose what is wrong."), field="defect")
    _refuse_bad_troubles(frame)
    # PostgreSQL refuses a NUL in text, and SQLite would keep it.
    if len(frame.note) > NOTE_LENGTH_MAX or "\x00" in frame.note:
        raise BadInput(
            _("Use at most %(room)s characters of plain text.") % {"room": NOTE_LENGTH_MAX},
            field="note",
        )


def _refuse_bad_troubles(filing: AskedFrame) -> None:
    data = [(filing.component, filing.defect), *filing.more]
    if len(data) > TROUBLES_MAX:
        raise BadInput(
            _("At most %(most)s troubles. Write the rest in your own words.")
            % {"most": TROUBLES_MAX},
            field="note",
        )
    for component, defect in filing.more:
        if component not in ComponentKey.values or defect not in DefectKey.values:
            raise BadInput(_("Choose a part and what is wrong with it, or neither."))
    if len(set(data)) < len(data):
        raise BadInput(_("One trouble is there twice. Choose it once."))


def write_return(plan: Plan, *, at: datetime, reference: str = "") -> Request:
    """Write a send-back down, in the caller's rule and transaction.

    Raises:
        BadInput: a frame has no wish.
    """
    _refuse_missing_wish(plan.filing)
    return _write(
        plan,
        reference=reference,
        kind=Request.Kind.SEND_BACK,
        state=RequestState.AWAITED.value,
        wish=plan.filing.wish,
        lenses_back=plan.filing.lenses_back,
        filed_at=at,
    )


def _write(plan: Plan, *, reference: str = "", **columns: Any) -> Request:
    filing = plan.filing
    request = Request.objects.create(
        reference=reference or fresh_reference(),
        link_salt=plan.salt,
        link_hash=links.hashed(plan.salt),
        key=plan.key,
        person=people.write_down(plan.contact),
        colourway=filing.colourway,
        component=filing.component,
        defect=filing.defect,
        note=filing.note.strip(),
        notice_version=filing.notice_version,
        **columns,
    )
    frames = list(enumerate(filing.frames, start=1))
    FurtherFrame.objects.bulk_create(
        FurtherFrame(
            request=request,
            number=number,
            colourway=frame.colourway,
            component=frame.component,
            defect=frame.defect,
            note=frame.note.strip(),
            wish=frame.wish,
            lenses_back=frame.lenses_back,
        )
        for number, frame in frames[1:]
    )
    Trouble.objects.bulk_create(
        Trouble(request=request, number=number, component=component, defect=defect)
        for number, frame in frames
        for component, defect in frame.more
    )
    return request


def fresh_reference() -> str:
    """Return a reference that no request has, nor any slip that will become one."""
    reference = codes.new_code("Q")
    # The look spares a clash; two at the same moment meet at the unique column.
    while (
        Request.objects.filter(reference=reference).exists()
        or PartnerSlip.objects.filter(code=reference).exists()
    ):
        reference = codes.new_code("Q")
    return reference


class Linked(Protocol):
    """What has a private link: a request, a partner's slip, a partner."""

    link_salt: str
    link_hash: str


def new_link() -> dict[str, str]:
    """Return the two columns of a new private link."""
    salt = links.fresh_salt()
    return {"link_salt": salt, "link_hash": links.hashed(salt)}


def link_secret(request: Linked) -> str:
    """The secret part of a request's private link: 43 characters that carry 256 bits.

    It is HMAC-SHA256 of the request's own random salt (192 bits) under the server's key, so that
    a letter can repeat the link while no usable secret is stored: the database holds the salt and
    the SHA-256 of the secret, and neither opens the page without the key. When the key has been
    changed, the older keys in `SECRET_KEY_FALLBACKS` are tried against the stored hash.

    Raises:
        Conflict: the key it was made with is gone; `renewed_secret` makes a new link.
    """
    secret = links.secret(request.link_salt, request.link_hash)
    if secret is None:
        raise Conflict(
            _("This link cannot be made again. Ask for a new one by reference and email.")
        )
    return secret


def renewed_secret(request: Request) -> str:
    """The link's secret, made anew under today's key when the old key is gone."""
    try:
        return link_secret(request)
    except Conflict:
        # From then on the former link opens nothing: it was made with a key that may be in other
        # hands.
        request.link_hash = links.hashed(request.link_salt)
        Request.objects.filter(pk=request.pk).update(link_hash=request.link_hash)
        return link_secret(request)


def by_secret(secret: str) -> Request:
    """The request that a private link opens. NotFound otherwise."""
    # Before the hash, so that a stranger cannot have megabytes hashed.
    if not secret.isascii() or len(secret) > links.LENGTH_MAX:
        raise NotFound(_("This link leads nowhere. Ask for it again by reference and email."))
    rows = Request.objects.select_related("person", "colourway__model", "colourway__colour")
    # Looked up by the hash: how far a guess agrees with a stored hash tells nothing about the
    # secret.
    found = rows.filter(link_hash=codes.hash_secret(secret)).first()
    if found is None:
        raise NotFound(_("This link leads nowhere. Ask for it again by reference and email."))
    return found


def _again(request: Request) -> Request:
    return Request.objects.get(pk=request.pk)


@events.rule("intake.withdraw", facts=lambda request: ["withdraw", request.reference], again=_again)
def withdraw(event: Draft, /, *, key: UUID, request: Request, at: datetime) -> Request:
    """The customer takes a request back before anything was posted either way.

    Raises:
        StaleState: the parcel has arrived, or the kit has left, or the story is over.
    """
    _close(request, at)
    event.of(request.reference)
    letters.enqueue(letter="withdrawn", request=request, at=at)
    return request


@transaction.atomic
def lapse(at: datetime) -> list[Request]:
    """End send-backs whose parcel never came within the time that personal data is kept."""
    limit = at - timedelta(days=Workshop.the().retention_days)
    rows = Request.objects.filter(state=RequestState.AWAITED.value, filed_at__lte=limit)
    rows = rows.filter(Q(revived_at=None) | Q(revived_at__lte=limit))
    # A batch in each round, so that the lock on the rows is short; the next round takes the rest.
    lapsed = list(rows.order_by("pk")[:200])
    for request in lapsed:
        _close(request, at)
        reference = request.reference
        facts = ["lapse", reference]
        events.record(key=uuid.uuid4(), name="intake.lapse", subject=reference, facts=facts, at=at)
    return lapsed


def _close(request: Request, at: datetime) -> None:
    # The state is part of the update: the parcel that the bench books at this moment either comes
    # first, or wakes the request again.
    rows = Request.objects.filter(pk=request.pk, state__in=_WITHDRAWABLE)
    if rows.update(state=RequestState.WITHDRAWN.value, ended_at=at) != 1:
        raise StaleState(_("It is too late to withdraw this: it is on its way or has arrived."))
    stock.release(subject=request.reference)
    request.refresh_from_db()


def person_of(request: Request) -> Person:
    """Who filed it. StaleState once their data have been deleted."""
    person = request.person
    if person is None or person.erased_at is not None:
        raise StaleState(_("The address of this request has been deleted."))
    return person


def _kept(request: Request, contact: Contact) -> Contact:
    """The new name and postal address, with the email and language as they were filed."""
    # Who holds the link may move the parcel, so the letter about it must go to the email as it was
    # filed.
    person = person_of(request)
    same = replace(contact, email=person.email, language=person.language)
    # Who came to the counter may have given no email.
    return people.checked_without_email(same)


@events.rule(
    "intake.change_address",
    facts=lambda request, contact: [
        "address",
        request.reference,
        people.mark(_kept(request, contact).values(), request.link_salt),
    ],
    again=_again,
)
def change_address(
    event: Draft, /, *, key: UUID, request: Request, contact: Contact, at: datetime
) -> Request:
    """Change name and postal address while something of theirs is still to be posted.

    The email stays as it is; `reaching.change_email` puts another in its place. A letter goes to
    that email.

    Raises:
        BadInput: the address will not do; `field` names the part.
        StaleState: everything has left the house already, or the story is over.
    """
    _hold_open(request)
    people.rewrite(person_of(request), _kept(request, contact))
    event.of(request.reference)
    letters.enqueue(letter="address_changed", request=request, at=at)
    return request


def _hold_open(request: Request) -> None:
    """Take the row's lock while it is open, so that no posting slips in between."""
    if request.state == RequestState.WITHDRAWN:
        raise StaleState(_("This request has ended. Nothing more happens."))
    still = [state.value for state in OPEN_STATES]
    rows = Request.objects.filter(pk=request.pk, state__in=still, ended_at=None)
    # The write that changes nothing locks the row on PostgreSQL; on SQLite the database's one write
    # lock serves. What follows is read under it.
    if rows.update(state=F("state")) != 1 or not may_change_address(request):
        raise StaleState(_("It is too late to change the address: it has been posted."))


def may_change_address(request: Request) -> bool:
    """Whether anything may still be posted to the address of a request."""
    if request.ended_at is not None or request.state not in set(OPEN_STATES):
        return False
    frames = list(request.frames.exclude(state=FrameState.VOIDED.value))
    # A frame that is ground already may still have lenses waiting to be posted.
    return not frames or any(frame.ended_at is None for frame in frames)


def report_missing(*, key: UUID, request: Request, at: datetime) -> Request:
    """The customer never got what we posted last: a kit, their frame or their lenses.

    A kit is queued for a bench hand's decision. For a frame the dispatch is marked, and the
    workshop asks the carrier.

    Raises:
        StaleState: nothing has been posted, it was reported before, or it is too long ago.
    """
    if request.kind == Request.Kind.SCREWS:
        return kits.report_missing(key=key, request=request, at=at)
    return _report_missing(key=key, request=request, at=at)


@events.rule(
    "intake.report_missing", facts=lambda request: ["missing", request.reference], again=_again
)
def _report_missing(event: Draft, /, *, key: UUID, request: Request, at: datetime) -> Request:
    last = last_dispatch(request)
    kits.refuse_long_posted(last.posted_at if last else None, at)
    # Reported once: a second press finds the mark and sends no second letter.
    rows = Dispatch.objects.filter(missing_reported_at=None)
    if last is None or rows.filter(pk=last.pk).update(missing_reported_at=at) != 1:
        raise StaleState(_("Nothing of yours is in the post, or you have told us already."))
    event.of(request.reference, dispatch=last.code)
    letters.enqueue(letter="missing", request=request, at=at)
    return request


def lost(at: datetime) -> QuerySet[Dispatch]:
    """Frames and lenses that their owners said of late never came, the oldest report first.

    Kits are under `kits.missing`.
    """
    rows = Dispatch.objects.exclude(kind=Dispatch.Kind.KIT)
    rows = rows.filter(frame__isnull=False, missing_reported_at__gt=at - kit_stock.SETTLED_AFTER)
    return rows.select_related("frame", "request").order_by("missing_reported_at")


def last_dispatch(request: Request) -> Dispatch | None:
    """What was posted last to the person behind a request, of a kit or of any frame of it."""
    rows = Dispatch.objects.filter(Q(request=request) | Q(frame__request=request))
    # What went from hand to hand was never in the post.
    rows = rows.filter(at_counter=False)
    return rows.exclude(posted_at=None).order_by("-posted_at", "-pk").first()


def may_report_missing(request: Request, *, at: datetime) -> bool:
    """Whether something was posted not long ago that its owner could be waiting for."""
    if request.kind == Request.Kind.SCREWS:
        return request.state == RequestState.POSTED and not kit_stock.long_posted(
            request.posted_at, at
        )
    last = last_dispatch(request)
    data = last is not None and last.missing_reported_at is not None
    return last is not None and not data and not kit_stock.long_posted(last.posted_at, at)


def may_withdraw(request: Request) -> bool:
    """Whether a request can still be taken back."""
    return request.state in _WITHDRAWABLE
