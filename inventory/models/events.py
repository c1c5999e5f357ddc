"""Who did what, when, under which client id: the history and the guard against doing it twice."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _

from inventory.models.appendonly import WriteOnce


class Event(WriteOnce):
    """One change of state. Holds opaque codes and ids only, never personal data."""

    # Unique over all rules: this is what decides between two calls with one key that run at once.
    key = models.UUIDField(_("client id"), unique=True)
    name = models.CharField(_("event"), max_length=60)
    subject = models.CharField(_("subject"), max_length=40, db_index=True)
    actor = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )
    at = models.DateTimeField(_("at"))
    # A hash of what was asked and not the asking itself, which may hold names and addresses: this
    # table is never deleted from, and personal data must be.
    fingerprint = models.CharField(max_length=64)
    detail = models.JSONField(default=dict)
    # Row -> digest of what stands beside the ledger, as the rule left it.
    witness = models.JSONField(_("digests of the rows it left"), default=dict, blank=True)
    link = models.PositiveBigIntegerField(_("link of the chain"), unique=True)
    digest = models.CharField(_("digest"), max_length=64)

    class Meta:
        verbose_name = _("event")
        verbose_name_plural = _("events")
        indexes = [models.Index(fields=["name", "at"])]

    def __str__(self) -> str:
        return f"{self.name} {self.subject}"
