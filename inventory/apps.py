"""The ledger room as a Django application."""

from __future__ import annotations

from django.apps import AppConfig
from django.utils.translation import gettext_lazy as _


class InventoryConfig(AppConfig):
    name = "inventory"
    verbose_name = _("Grams and pieces")

    def ready(self) -> None:
        from inventory import checks  # noqa: F401  registers the system checks
