"""The ledger room as a Django application."""

from __future__ import annotations

from django.apps import AppConfig
from django.utils.translation import gettext_lazy as _


class InventoryConfig(AppConfig):
    name = "inventory"
    verbose_name = _("Grams and pieces")

    def ready(self) -> None:
        # The models are not loaded when this module is read; `ready` is the first moment to import.
        from inventory import checks  # noqa: F401  registers the system checks
        from inventory.staff.pages import door  # noqa: F401  hears of sign-ins
