"""The second factor: one-time codes, passkeys and recovery codes; over kept libraries.

The libraries hold the secrets and compare (django-otp, django-otp-webauthn); here is decided who
needs one, what a session must show, and how one that is lost is put right.
"""

from __future__ import annotations

import secrets
from datetime import datetime
from typing import Final
from uuid import UUID

import django_otp
from django.contrib.auth.models import User
from django.db import transaction
from django.utils.translation import gettext as _
from django_otp.models import Device
from django_otp.plugins.otp_totp.models import TOTPDevice
from django_otp_webauthn.models import WebAuthnCredential

from inventory import events
from inventory.errors import BadInput, Conflict, NotFound
from inventory.events import Draft
from inventory.models import RecoverySheet, SignIn
from inventory.staff import queries
from inventory.staff.rules import signins, staff

What = SignIn.What
CODES: Final = 10
DIGITS: Final = 6
KINDS: Final = {"app": TOTPDevice, "passkey": WebAuthnCredential}


def begin(*, user: User) -> TOTPDevice:
    """Return the secret for a code app that is being set up; it counts once it is confirmed."""
    # A reload shows the same picture again, so that what was scanned already goes on to fit.
    return TOTPDevice.objects.get_or_create(user=user, confirmed=False, defaults={"name": "app"})[0]


def confirm(*, user: User, code: str, at: datetime) -> None:
    """Take a code app into use by a first code of it.

    Raises BadInput for a code that does not fit, Conflict when no app is waiting for one.
    """
    with transaction.atomic():
        waiting = TOTPDevice.objects.select_for_update().filter(user=user, confirmed=False).first()
        if waiting is None:
            raise Conflict(_("This code app is set up already."))
        # A wrong one is counted, so nothing may be raised before this transaction has ended.
        fits = waiting.verify_token("".join(code.split()))
        if fits:
            waiting.confirmed = True
            waiting.save(update_fields=["confirmed"])
            signins.note(what=What.FACTOR_ADDED, user=user, at=at)
    if not fits:
        raise BadInput(
            _("This code does not fit. Wait for the next one, and look whether the clocks agree."),
            field="code",
        )


@transaction.atomic
def renew_codes(*, user: User, at: datetime) -> list[str]:
    """Make recovery codes, which are in this answer only; all earlier ones open nothing."""
    codes = [staff.made_up() for _code in range(CODES)]
    sheet = RecoverySheet.objects.get_or_create(user=user, defaults={"name": "codes"})[0]
    sheet.fill([plain(code) for code in codes])
    sheet.save()
    signins.note(what=What.CODES_MADE, user=user, at=at)
    return codes


def plain(code: str) -> str:
    """A recovery code as it is compared: without blanks, dashes and capitals."""
    return "".join(letter for letter in code.lower() if letter.isalnum())


def shown(*, user: User, code: str) -> Device | None:
    """The device that this code is of, and the code used up; None for a wrong one.

    The library locks the row, compares, counts wrong tries, and takes no code a second time.
    """
    text = plain(code)
    is_app = len(text) == DIGITS and text.isdecimal()
    for device in (TOTPDevice if is_app else RecoverySheet).objects.filter(
        user=user, confirmed=True
    ):
        found = django_otp.verify_token(user, device.persistent_id, text)
        if found is not None:
            return found
    return None


def must_wait(user: User) -> bool:
    """Whether wrong codes have made this person wait: each wrong one doubles the wait."""
    kinds = (TOTPDevice, RecoverySheet)
    return any(
        not device.verify_is_allowed()[0]
        for kind in kinds
        for device in kind.objects.filter(user=user, confirmed=True)
    )


@transaction.atomic
def remove(*, user: User, kind: str, number: int, at: datetime) -> None:
    """Take one of a person's factors out of use.

    Raises NotFound; Conflict for the last one of somebody of whom one is asked.
    """
    device = KINDS[kind].objects.filter(pk=number, user=user).first() if kind in KINDS else None
    if device is None:
        raise NotFound
    factors = queries.factors_of(user)
    if len(factors) == 1 and queries.is_factor_asked(user):
        raise Conflict(_("This is your only second factor, and one is needed. Add another first."))
    device.delete()
    if len(factors) == 1:
        RecoverySheet.objects.filter(user=user).delete()
    signins.note(what=What.FACTOR_REMOVED, user=user, at=at)


def _reset(person: User, at: datetime) -> None:
    for kind in (*KINDS.values(), RecoverySheet):
        kind.objects.filter(user=person).delete()
    signins.end_others(user=person)
    signins.note(what=What.FACTOR_REMOVED, user=person, at=at)


@events.rule("staff.reset_factor", facts=lambda number: [number], again=lambda: None)
def reset(event: Draft, /, *, key: UUID, number: int, at: datetime, by: User) -> None:
    """Take all factors from somebody who has lost them. Their sessions end.

    They sign in by password, and set up new ones before anything else if one is asked of them.
    Raises NotFound, Conflict for one's own login, Forbidden for a superuser's.
    """
    person = staff.other(number, by)
    _reset(person, at)
    event.of(staff.subject(person))


@transaction.atomic
def reset_by_command(*, name: str, at: datetime) -> User:
    """The same for whoever runs the machine: an owner without a colleague has nobody else.

    Raises NotFound when nobody has this name.
    """
    person = User.objects.filter(username=name).first()
    if person is None:
        raise NotFound
    _reset(person, at)
    events.record(
        key=UUID(bytes=secrets.token_bytes(16), version=4),
        name="staff.reset_factor",
        subject=staff.subject(person),
        facts=[person.pk],
        at=at,
    )
    return person
