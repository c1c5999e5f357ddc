"""The people of the workshop: the first owner, and the logins that an owner makes.

A password made here is given once, to the caller. Events hold numbers only, never a name.
"""

from __future__ import annotations

import hashlib
import secrets
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Final, NoReturn
from uuid import UUID

from django.contrib.auth.models import Group, User
from django.contrib.auth.tokens import default_token_generator
from django.contrib.auth.validators import UnicodeUsernameValidator
from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.encoding import force_bytes
from django.utils.http import urlsafe_base64_encode
from django.utils.translation import gettext as _

from inventory import events
from inventory.errors import BadInput, Conflict, Forbidden, NotFound
from inventory.events import Draft
from inventory.masters import queries as practice
from inventory.models import GivenPassword, Workshop
from inventory.staff.rules import signins

if TYPE_CHECKING:
    from collections.abc import Iterable

OWNER: Final = "owner"
ROLES: Final = ("bench", "accountant", OWNER)
NAME_LENGTH_MAX: Final = 40
GIVEN_FOR: Final = timedelta(days=7)
"""How long a first password waits to be used."""
# No letters that are mistaken for a digit or for each other: passwords are read off paper.
_LETTERS: Final = "abcdefghijkmnpqrstuvwxyz23456789"
_GROUPS, _GROUP_LENGTH = 4, 4


@transaction.atomic
def found(*, name: str, at: datetime) -> tuple[User, str]:
    """Make the first owner; the user and the path of the link that sets the password, once.

    Asked again before the link was used, it makes a new link and the earlier one opens nothing.
    Raises Conflict when somebody can already sign in as owner, or on practice data.
    """
    # The row must be there before it can be locked; SQLite takes its write lock with the
    # transaction itself.
    Workshop.the()
    list(Workshop.objects.select_for_update())  # two at once must not both be the first
    if practice.is_on():
        raise Conflict(
            _("This is the practice installation, with logins of its own. Nothing was made.")
        )
    claim = User.objects.filter(groups__name=OWNER)
    # Until the link was used nobody can sign in, so a lost link is no dead end: the same person
    # gets another.
    if any(person.has_usable_password() for person in claim):
        raise Conflict(
            _("There is an owner already. Owners make further logins at /owner/people/.")
        )
    person = claim.first() or _created(name, "", OWNER)
    person.set_unusable_password()  # a fresh random mark: links made before it are void
    person.save(update_fields=["password"])
    events.record(
        # A command has no client's id, and each link is an event of its own.
        key=UUID(bytes=secrets.token_bytes(16), version=4),
        name="staff.found",
        subject=subject(person),
        facts=[person.pk],
        at=at,
    )
    uid = urlsafe_base64_encode(force_bytes(person.pk))
    return person, f"/enter/first/{uid}/{default_token_generator.make_token(person)}/"


def other(number: int, by: User) -> User:
    """Return somebody else, whose login may be changed, with the row locked.

    Raises NotFound, Conflict for one's own login, Forbidden for a superuser's.
    """
    person = User.objects.select_for_update().filter(pk=number).first()
    if person is None:
        raise NotFound
    # Nobody locks themselves out: the last owner could not be let in again.
    if person.pk == by.pk:
        raise Conflict(_("This is your own login. Another owner can do this for you."))
    if person.is_superuser and not by.is_superuser:
        raise Forbidden(_("Only a superuser may change this login."))
    return person


def _refuse_second_login() -> NoReturn:
    raise Conflict(
        _("This login was made already. Its password was shown once; you can make a new one.")
    )


@events.rule(
    "staff.hire",
    facts=lambda name, first_name, role: [
        # A name is personal data: the fingerprint takes it under the server's key, so that a repeat
        # is known and the name is not.
        events.sealed("hingeback.staff", f"{name}\n{first_name}"),
        role,
    ],
    again=_refuse_second_login,
)
def hire(
    event: Draft, /, *, key: UUID, name: str, first_name: str, role: str, at: datetime, by: User
) -> tuple[User, str]:
    """Make a login for a role; the user and the password, which is in this answer only.

    Raises BadInput naming the field, Conflict for a repeat: the password cannot be given again.
    """
    if role not in ROLES:
        raise BadInput(_("Choose one of these."), field="role")
    person = _created(name.strip(), first_name.strip(), role)
    password = _given(person, at)
    event.of(subject(person), role=role)
    return person, password


def _refuse_second_password() -> NoReturn:
    raise Conflict(_("A new password was made already, and is shown only once. Make another."))


@events.rule("staff.renew_password", facts=lambda number: [number], again=_refuse_second_password)
def renew_password(
    event: Draft, /, *, key: UUID, number: int, at: datetime, by: User
) -> tuple[User, str]:
    """Give a person a new password, shown once. Their sessions end.

    Raises NotFound, Conflict for one's own login or a repeat, Forbidden for a superuser's.
    """
    person = other(number, by)
    password = _given(person, at)
    event.of(subject(person))
    return person, password


@events.rule("staff.switch_off", facts=lambda number: [number], again=other)
def switch_off(event: Draft, /, *, key: UUID, number: int, at: datetime, by: User) -> User:
    """Switch a login off: no more signing in, and the person's tokens open nothing."""
    return _switched(event, other(number, by), is_active=False)


@events.rule("staff.switch_on", facts=lambda number: [number], again=other)
def switch_on(event: Draft, /, *, key: UUID, number: int, at: datetime, by: User) -> User:
    """Switch a login on again, with the password that the person had."""
    return _switched(event, other(number, by), is_active=True)


def _switched(event: Draft, person: User, *, is_active: bool) -> User:
    person.is_active = is_active
    person.save(update_fields=["is_active"])
    signins.end_others(user=person)
    event.of(subject(person))
    return person


def everybody() -> Iterable[User]:
    """Return everybody who has a login, those who are switched off last."""
    return User.objects.prefetch_related("groups").order_by("-is_active", "username")


def _created(name: str, first_name: str, role: str) -> User:
    if not 1 <= len(name) <= NAME_LENGTH_MAX:
        raise BadInput(_("A login name has 1 to 40 characters."), field="name")
    try:
        UnicodeUsernameValidator()(name)
    except ValidationError as error:
        raise BadInput(
            _("Use letters, digits and @ . + - _ for the login name, no blanks."), field="name"
        ) from error
    # The column is unique to the letter only; two logins that differ in a capital would be mistaken
    # for each other.
    if User.objects.filter(username__iexact=name).exists():
        raise BadInput(_("This login name is taken. Choose another."), field="name")
    # An owner edits the masters in the admin, which asks for this mark.
    person = User.objects.create_user(
        name, first_name=first_name[:NAME_LENGTH_MAX], is_staff=role == OWNER
    )
    person.groups.add(Group.objects.get_or_create(name=role)[0])
    return person


def made_up() -> str:
    """A random secret to be read off paper: four groups of four letters, about 80 bits."""
    groups = (
        "".join(secrets.choice(_LETTERS) for _letter in range(_GROUP_LENGTH))
        for _group in range(_GROUPS)
    )
    return "-".join(groups)


def _given(person: User, at: datetime) -> str:
    password = made_up()
    person.set_password(password)
    person.save(update_fields=["password"])
    signins.end_others(user=person)
    data = {"mark": _mark(person), "given_at": at, "used_at": None}
    GivenPassword.objects.update_or_create(user=person, defaults=data)
    return password


def use(*, person: User, at: datetime) -> bool:
    """Count a sign-in. Returns whether the password is one that was given, and is now used up.

    Raises Conflict when it was used before, or has waited too long.
    """
    found = GivenPassword.objects.filter(user=person, mark=_mark(person))
    if not found.exists():
        return False
    # One conditional UPDATE: of two who sign in with it at once, one is let in.
    fresh = found.filter(used_at=None, given_at__gt=at - GIVEN_FOR)
    if fresh.update(used_at=at) != 1:
        raise Conflict(
            _("This first password was used already, or is too old. Ask the owner for a new one.")
        )
    return True


def made_own(*, person: User) -> None:
    """Note that a person has set a password that nobody else has seen."""
    GivenPassword.objects.filter(user=person).delete()


def _mark(person: User) -> str:
    return hashlib.sha256(person.password.encode()).hexdigest()


def subject(person: User) -> str:
    """How events name a person: by number."""
    return f"user-{person.pk}"
