"""Fields of the set-up's forms: what people type becomes whole milligrams, cents, ppm or µm."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from inventory.furniture.pages.forms import FigureField
from inventory.weighing import rules as weighing
from inventory.weighing.sums.masses import MassTextError, parse_mass_mg


class MassField(forms.CharField):
    """A mass as on the scale or the plate; becomes whole milligrams, 0 when left empty."""

    def __init__(self, **facts: Any) -> None:
        super().__init__(max_length=40, **facts)

    def clean(self, value: Any) -> int:
        text = super().clean(value)
        if not text:
            return 0
        try:
            return parse_mass_mg(text)
        except MassTextError as error:
            raise ValidationError(weighing.refusal(error)) from error


class ScaledField(FigureField):
    """A figure with decimals; becomes a whole number of `scale` parts of it, or None."""

    def __init__(self, *, scale: int, **facts: Any) -> None:
        self.scale = scale
        facts.setdefault("min_value", 0)
        super().__init__(**facts)

    def clean(self, value: Any) -> int | None:
        figure: Decimal | None = super().clean(value)
        # Exact: a Decimal with no more places than the scale has noughts. A float would lose a
        # cent.
        return None if figure is None else int(figure * self.scale)

    def prepare_value(self, value: Any) -> Any:
        """Show a stored whole number as people write it."""
        # What was typed and refused comes back as text and is shown as it was typed.
        if isinstance(value, int):
            shown = Decimal(value) / self.scale
            return shown.quantize(Decimal(1).scaleb(-(self.decimal_places or 0)))
        return value


def money(**facts: Any) -> ScaledField:
    """Make a field for an amount in the workshop's currency; it becomes whole cents."""
    return ScaledField(scale=100, decimal_places=2, max_value=1_000_000, **facts)


def percent(**facts: Any) -> ScaledField:
    """Make a field for a share in percent; it becomes parts per million."""
    return ScaledField(scale=10_000, decimal_places=1, **facts)


def millimetres(**facts: Any) -> ScaledField:
    """Make a field for a length in mm; it becomes whole micrometres."""
    return ScaledField(scale=1_000, decimal_places=3, max_value=1_000, **facts)
