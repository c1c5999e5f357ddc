"""Who is signed in where, and who signed in when: kept so that people can look and end it."""

from __future__ import annotations

import hashlib
from typing import Any

from django.conf import settings
from django.contrib.auth.hashers import check_password, make_password
from django.contrib.sessions.base_session import AbstractBaseSession
from django.db import models
from django.utils.translation import gettext_lazy as _
from django_otp.models import Device, ThrottlingMixin

BROWSER_LENGTH_MAX = 200


class OpenSession(AbstractBaseSession):
    """A browser's session, with what its person needs in order to know it again."""

    user = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, null=True, related_name="+")
    began_at = models.DateTimeField(_("began"), null=True)
    seen_at = models.DateTimeField(_("last used"), null=True)
    address = models.GenericIPAddressField(_("address"), null=True)
    browser = models.CharField(_("browser"), max_length=BROWSER_LENGTH_MAX, blank=True)

    class Meta(AbstractBaseSession.Meta):
        abstract = False
        verbose_name = "open session"
        verbose_name_plural = "open sessions"

    @property
    def handle(self) -> str:
        """How an address names the session: the key itself would open it."""
        return hashlib.sha256(self.session_key.encode()).hexdigest()[:16]

    @classmethod
    def get_session_store_class(cls) -> Any:
        from inventory.furniture.sessions import SessionStore

        return SessionStore


class SignIn(models.Model):
    """A try to sign in and what came of it. Address and browser are blanked by the nightly task."""

    class What(models.TextChoices):
        ENTERED = "entered", _("signed in")
        WRONG_PASSWORD = "wrong_password", _("wrong password")
        SLOWED = "slowed", _("too many tries: made to wait")
        PROVED = "proved", _("second factor shown")
        WRONG_CODE = "wrong_code", _("wrong second factor")
        LEFT = "left", _("signed out")
        IDLE = "idle", _("ended: not used for too long")
        ENDED = "ended", _("signed out from elsewhere")
        FACTOR_ADDED = "factor_added", _("second factor added")
        FACTOR_REMOVED = "factor_removed", _("second factor removed")
        CODES_MADE = "codes_made", _("recovery codes made")
        PASSWORD_SET = "password_set", _("password changed")

    at = models.DateTimeField(_("when"))
    user = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, null=True, related_name="+")
    what = models.CharField(_("what"), max_length=24, choices=What.choices)
    address = models.GenericIPAddressField(_("address"), null=True)
    browser = models.CharField(_("browser"), max_length=BROWSER_LENGTH_MAX, blank=True)

    class Meta:
        verbose_name = _("sign-in")
        verbose_name_plural = _("sign-ins")
        indexes = (models.Index(fields=["user", "-at"], name="signin_user_at"),)

    def __str__(self) -> str:
        return f"{self.what} user-{self.user_id}"


class RecoverySheet(ThrottlingMixin, Device):  # type: ignore[misc]
    """The recovery codes of a person, each good for once and kept as a password is kept."""

    hashes = models.JSONField(default=list)

    class Meta(Device.Meta):  # type: ignore[misc]
        verbose_name = _("recovery codes")
        verbose_name_plural = _("recovery codes")

    def get_throttle_factor(self) -> int:
        return 1

    def fill(self, codes: list[str]) -> None:
        """Take these codes in place of all earlier ones. Not saved yet."""
        self.hashes = [make_password(code) for code in codes]

    # The library calls this with the row locked, in a transaction.
    def verify_token(self, token: str) -> bool:
        """Use a code up. False for a wrong one, and while the wait after wrong ones lasts."""
        if not self.verify_is_allowed()[0]:
            return False
        used = next((one for one in self.hashes if check_password(token, one)), None)
        if used is None:
            self.throttle_increment()
            return False
        self.hashes = [one for one in self.hashes if one != used]
        self.throttle_reset(commit=False)
        self.save()
        return True
