"""What the accountant's templates need beside the house's furniture: places in words."""

from __future__ import annotations

from django import template

from inventory.pages.accounts import agreement

register = template.Library()

register.filter("place_words", agreement.place_words)
