"""The base of every form that changes something: it carries the client's id of the deed."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from typing import Any, TypeVar

from django import forms
from django.db import IntegrityError
from django.utils.translation import gettext_lazy as _

from inventory.errors import HingebackError
from inventory.models import Scale

Made = TypeVar("Made")


class DeedForm(forms.Form):
    """A form with a hidden one-time key: a double click or a reload repeats, never doubles."""

    key = forms.UUIDField(widget=forms.HiddenInput, initial=uuid.uuid4)

    def attempt(self, rule: Callable[..., Made], **facts: Any) -> Made | None:
        """Call a rule with the form's key. A refusal lands beside its field; None then."""
        try:
            return self._once_more_if_raced(rule, facts)
        except HingebackError as error:
            field = getattr(error, "field", "")
            self.add_error(field if field in self.fields else None, error.message)
            return None

    def _once_more_if_raced(self, rule: Callable[..., Made], facts: dict[str, Any]) -> Made:
        """Two clicks at once: the slower one meets the key's unique row, and then repeats."""
        key = self.cleaned_data["key"]
        try:
            return rule(key=key, **facts)
        except IntegrityError:
            return rule(key=key, **facts)


class WeighedForm(DeedForm):
    """A deed with one reading on a named scale; the rule parses the typed mass."""

    scale = forms.ModelChoiceField(Scale.objects.filter(in_use=True), label=_("Scale"))
    mass = forms.CharField(
        label=_("Mass"),
        max_length=40,
        help_text=_("As the scale shows it, for example 24,31 or 24.31 g."),
    )
