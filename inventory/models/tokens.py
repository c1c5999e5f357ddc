"""Machine access: hashed tokens, and the answers already given to a client's request id."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _

from inventory.models.changes import Kept


class AccessToken(Kept):
    """A token for a machine. Only its SHA-256 is stored."""

    hidden = ("digest",)

    name = models.CharField(_("name"), max_length=60)
    user = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, related_name="access_tokens")
    # A plain hash will do, and can be looked up by: the token is random and long, so that a slow
    # salted one would protect nothing more.
    digest = models.CharField(max_length=64, unique=True)
    scopes = models.JSONField(_("scopes"), default=list)
    created_at = models.DateTimeField()
    expires_at = models.DateTimeField(_("expires"))
    revoked_at = models.DateTimeField(_("revoked"), null=True, blank=True)

    class Meta:
        verbose_name = _("access token")
        verbose_name_plural = _("access tokens")

    def __str__(self) -> str:
        return self.name


class RequestKey(models.Model):
    """What was answered to one `Idempotency-Key`; `status` is empty while it still runs."""

    # A key means something only beside its caller and address: two machines may count alike.
    caller = models.CharField(max_length=80)
    method = models.CharField(max_length=8)
    path = models.CharField(max_length=200)
    key = models.CharField(max_length=255)
    fingerprint = models.CharField(max_length=64)
    status = models.PositiveSmallIntegerField(null=True)
    body = models.JSONField(null=True)
    created_at = models.DateTimeField()
    expires_at = models.DateTimeField(db_index=True)

    class Meta:
        verbose_name = _("answered request")
        verbose_name_plural = _("answered requests")
        constraints = [
            models.UniqueConstraint(
                fields=["caller", "method", "path", "key"], name="request_key_once"
            )
        ]

    def __str__(self) -> str:
        return self.key
