"""How a customer is reached by email: an address put right, a mail sent once more."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from uuid import UUID

from django.utils.translation import gettext as _

from inventory import events
from inventory.errors import BadInput
from inventory.events import Draft
from returns.customers import rules as people
from returns.customers.rules import Contact
from returns.filing.rules.intake import person_of
from returns.letters import rules as letters
from returns.models import Person, Request
from returns.story.sums.states import RequestState


def _again(request: Request) -> Request:
    return Request.objects.get(pk=request.pk)


@events.rule(
    "intake.change_email",
    facts=lambda request, email: [
        "email",
        request.reference,
        people.mark([email.strip()], request.link_salt),
    ],
    again=_again,
)
def change_email(
    event: Draft, /, *, key: UUID, request: Request, email: str, at: datetime
) -> Request:
    """Put another email in the place of the filed one. Both are written to.

    Whoever holds the link alone could take the mails over, so the address before gets a letter
    too. Of several changes in a row it goes to the first address: that was the filer's own.

    Raises:
        BadInput: the email will not do, or is the one that we have.
        StaleState: the personal data have been deleted.
    """
    person = person_of(request)
    contact = people.checked(replace(_contact(person), email=email))
    if contact.email == person.email:
        raise BadInput(_("This is the email that we write to already."), field="email")
    data = person.former_email or person.email
    Person.objects.filter(pk=person.pk).update(email=contact.email, former_email=data)
    event.of(request.reference)
    # Two letters: one that the new address works, one to the old that somebody else may have done
    # this.
    letters.enqueue(letter="email_left", request=request, at=at)
    letters.enqueue(letter="email_changed", request=request, at=at)
    return _again(request)


def _contact(person: Person) -> Contact:
    return Contact(**{name: getattr(person, name) for name in Contact.__slots__})


@events.rule("intake.send_again", facts=lambda request: ["again", request.reference], again=_again)
def send_again(event: Draft, /, *, key: UUID, request: Request, at: datetime) -> Request:
    """Send the first mail once more while it still says what is true, else one with the link.

    Raises:
        StaleState: the personal data have been deleted.
    """
    person_of(request)
    first = {
        RequestState.AWAITED.value: "filed",
        RequestState.RESERVED.value: "filed",
        RequestState.WAITING_STOCK.value: "waiting_stock",
    }
    event.of(request.reference)
    letters.enqueue(letter=first.get(request.state, "find_link"), request=request, at=at)
    return request
