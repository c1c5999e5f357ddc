"""The roles of the house and of a person, their second factors, sessions and sign-ins. Reads."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Final

from django.conf import settings
from django.contrib.auth.models import AnonymousUser, User
from django.utils import timezone
from django_otp.plugins.otp_totp.models import TOTPDevice
from django_otp_webauthn.models import WebAuthnCredential

from inventory.models import OpenSession, RecoverySheet, SignIn

BENCH = "bench"
ACCOUNTANT = "accountant"
OWNER = "owner"


def roles_of(user: User | AnonymousUser) -> frozenset[str]:
    """Return the roles of a user; none for a stranger or a user who is switched off."""
    if not user.is_active:
        return frozenset()
    return frozenset(user.groups.values_list("name", flat=True))


@dataclass(frozen=True)
class Factor:
    """A code app or a passkey that a person has taken into use."""

    kind: str
    number: int
    since: datetime | None
    used_at: datetime | None


SIGN_INS_SHOWN: Final = 30


def factors_of(user: User) -> list[Factor]:
    """Return the second factors of a person; recovery codes are none, they only stand in."""
    kinds = (("app", TOTPDevice), ("passkey", WebAuthnCredential))
    return [
        Factor(kind, device.pk, device.created_at, device.last_used_at)
        for kind, model in kinds
        for device in model.objects.filter(user=user, confirmed=True).order_by("pk")
    ]


def is_factor_asked(user: User) -> bool:
    """Whether this person may not do without a second factor."""
    asked = set(settings.SECOND_FACTOR_ROLES)
    return bool(asked) and (user.is_superuser or bool(roles_of(user) & asked))


def codes_left(user: User) -> int:
    """How many unused recovery codes a person has."""
    sheet = RecoverySheet.objects.filter(user=user).first()
    return len(sheet.hashes) if sheet else 0


def open_sessions(user: User) -> list[OpenSession]:
    """Return where a person is signed in now, the latest used first."""
    now = timezone.now()
    return list(OpenSession.objects.filter(user=user, expire_date__gt=now).order_by("-seen_at"))


def sign_ins(user: User) -> list[SignIn]:
    """Return what happened lately at the door in a person's name, the latest first."""
    return list(SignIn.objects.filter(user=user).order_by("-at", "-pk")[:SIGN_INS_SHOWN])
