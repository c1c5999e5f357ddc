"""Outbox messages: what must still happen because of a fact, written in its transaction."""

from __future__ import annotations

import uuid

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _


class OutboxMessage(models.Model):
    """One thing to do, at least once. Payload holds codes and ids only."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    topic = models.CharField(_("topic"), max_length=40)
    subject = models.CharField(_("subject"), max_length=60)
    payload = models.JSONField(default=dict)
    created_at = models.DateTimeField()
    available_at = models.DateTimeField()
    tries = models.PositiveSmallIntegerField(default=0)
    # Tries that ended without a word, with the worker that was killed in them.
    lost = models.PositiveSmallIntegerField(default=0)
    # A claim that ends by itself: a worker that dies leaves no message locked for ever.
    claimed_until = models.DateTimeField(null=True, blank=True)
    settled_at = models.DateTimeField(null=True, blank=True)
    given_up_at = models.DateTimeField(null=True, blank=True)
    last_error = models.CharField(max_length=200, blank=True, default="")

    class Meta:
        verbose_name = _("outbox message")
        verbose_name_plural = _("outbox messages")
        indexes = [
            # Only what is unsettled is ever looked for; settled rows pile up and would only swell
            # the index.
            models.Index(
                fields=["available_at"],
                condition=Q(settled_at__isnull=True),
                name="message_unsettled",
            )
        ]

    def __str__(self) -> str:
        return f"{self.topic} {self.subject}"
