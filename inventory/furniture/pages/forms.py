"""The base of every form that changes something: it carries the client's id of the deed."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from decimal import Decimal
from typing import Any, TypeVar

from django import forms
from django.db import IntegrityError
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from inventory.errors import HingebackError, KeyReused
from inventory.models import Scale
from inventory.months.reports.headings import FLAGS
from inventory.weighing.queries import readings

Made = TypeVar("Made")


class ActionForm(forms.Form):
    """A form with a hidden one-time key: a double click or a reload repeats, never doubles."""

    key = forms.UUIDField(widget=forms.HiddenInput, initial=uuid.uuid4)

    def attempt(self, rule: Callable[..., Made], **facts: Any) -> Made | None:
        """Call a rule with the form's key. A refusal lands beside its field; None then."""
        try:
            return self._once_more_if_raced(rule, facts)
        except KeyReused:
            self._renew_key()
            return None
        except HingebackError as error:
            field = getattr(error, "field", "")
            self.add_error(field if field in self.fields else None, error.message)
            return None

    def _renew_key(self) -> None:
        """What was sent from here before had other content: a fresh key lets this be sent too."""
        sent: Any = self.data
        data = sent.copy()
        data[self.add_prefix("key")] = str(uuid.uuid4())
        self.data = data
        self.add_error(
            None,
            _(
                "Another entry was sent from this form before. Look whether it was done; to enter "
                "this one as well, send it again."
            ),
        )

    def _once_more_if_raced(self, rule: Callable[..., Made], facts: dict[str, Any]) -> Made:
        """Two clicks at once: the slower one meets the key's unique row, and then repeats."""
        key = self.cleaned_data["key"]
        try:
            return rule(key=key, **facts)
        except IntegrityError:
            return rule(key=key, **facts)


class MassField(forms.CharField):
    """A mass as typed, or as a scale's cable fills it in; the rule parses it."""

    def __init__(self, **facts: Any) -> None:
        super().__init__(max_length=40, **facts)

    def widget_attrs(self, widget: forms.Widget) -> dict[str, Any]:
        own = {"inputmode": "decimal", "autocomplete": "off", "data-mass": True}
        return super().widget_attrs(widget) | own


class FigureField(forms.DecimalField):
    """A figure with decimals. A comma is a decimal sign too, whatever the language of the page."""

    def __init__(self, **facts: Any) -> None:
        super().__init__(localize=True, **facts)

    def to_python(self, value: Any) -> Decimal | None:  # type: ignore[override]
        text = str(value or "").strip()
        return super().to_python(text.replace(",", ".") if text.count(",") == 1 else text)

    def widget_attrs(self, widget: forms.Widget) -> dict[str, Any]:
        return super().widget_attrs(widget) | {"inputmode": "decimal"}


class ScaleField(forms.ModelChoiceField):  # type: ignore[type-arg]
    """A scale in use. What speaks against it today is said before it is used, not only after."""

    def __init__(self, **facts: Any) -> None:
        super().__init__(Scale.objects.filter(in_use=True), **{"label": _("Scale")} | facts)

    def label_from_instance(self, scale: Scale) -> str:
        given = [str(FLAGS[flag]) for flag in readings.doubts(scale=scale, at=timezone.now())]
        return f"{scale.name} ({', '.join(given)})" if given else scale.name


class WeighedForm(ActionForm):
    """A deed with one reading on a named scale; the rule parses the typed mass."""

    scale = ScaleField()
    mass = MassField(
        label=_("Mass"),
        help_text=_("As the scale shows it, for example 24,31 or 24.31 g."),
    )
