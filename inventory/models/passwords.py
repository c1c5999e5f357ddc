"""Passwords that an owner made for somebody: they let in once, and are then to be changed."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _


class GivenPassword(models.Model):
    """A person whose password somebody else has seen. Gone as soon as the person sets one."""

    user = models.OneToOneField(
        settings.AUTH_USER_MODEL, models.CASCADE, related_name="given_password"
    )
    # Of the stored hash, so that a password set by a command or in the admin is not taken for the
    # given one.
    mark = models.CharField(max_length=64)
    given_at = models.DateTimeField(_("given"))
    used_at = models.DateTimeField(_("signed in with"), null=True, blank=True)

    class Meta:
        verbose_name = _("first password")
        verbose_name_plural = _("first passwords")

    def __str__(self) -> str:
        return f"user-{self.user_id}"
