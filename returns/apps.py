"""The people-and-frames room as a Django application."""

from __future__ import annotations

from django.apps import AppConfig
from django.utils.translation import gettext_lazy as _


class ReturnsConfig(AppConfig):
    name = "returns"
    verbose_name = _("People and frames")
