"""Reads masses as people type them and writes them one way only; exact, never guessing.

A comma or a point may be a decimal sign or a thousands sign. Every reading is listed, those that
the scale could not have shown are dropped, and what is left must agree on one figure.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from decimal import Decimal
from typing import ClassVar

from inventory.wording import gettext_noop

TEXT_LENGTH_MAX = 40
# A thousand tonnes. Far below the 64 bits of a column, so that no sum of masses overflows one.
MASS_MG_MAX = 10**12
MG_PER_UNIT = {"mg": 1, "g": 1_000, "kg": 1_000_000}

# "Mg" is a tonne in SI, so a capital is allowed only where it cannot change the meaning.
_UNIT_SPELLINGS = {"": "g", "g": "g", "G": "g", "kg": "kg", "Kg": "kg", "KG": "kg", "mg": "mg"}
_DECIMAL_SIGNS = (".", ",")
_GROUP_SIGNS = (".", ",", " ", "'")
# No-break, thin and narrow no-break space and the curly apostrophe, which spreadsheets and phones
# put where a plain one was meant.
_SAME_SIGN = str.maketrans({"\u00a0": " ", "\u2009": " ", "\u202f": " ", "\u2019": "'"})
# It begins and ends with a digit, so neither ".5" nor "5." is guessed at. `[0-9]` and not `\d`,
# which takes the digits of every script.
_SHAPE = re.compile(r"(?P<number>[0-9](?:[0-9.,' ]*[0-9])?) *(?P<unit>[A-Za-z]*)")


class MassTextError(ValueError):
    """A typed mass that cannot be taken; `template` and `shown` let an edge translate it.

    Of the figures a whole number is a mass in milligrams, and text is written alike everywhere.
    """

    code: ClassVar[str] = "mass_text"

    def __init__(self, template: str, **figures: str | int) -> None:
        self.template = template
        self.figures = figures
        super().__init__(template % self.shown())

    def shown(self, decimal_sign: str = ".") -> dict[str, str]:
        """Return the figures for the template, with masses in grams and this decimal sign."""
        return {
            name: figure
            if isinstance(figure, str)
            else format_mass(figure, decimal_sign=decimal_sign)
            for name, figure in self.figures.items()
        }


class BadMass(MassTextError):
    """No reading of the text is a mass this scale can show."""

    code = "bad_mass"


class AmbiguousMass(MassTextError):
    """Two readings of the text are both possible; `readings_mg` holds them, smallest first."""

    code = "ambiguous_mass"

    def __init__(self, template: str, readings_mg: tuple[int, ...], **figures: str | int) -> None:
        self.readings_mg = readings_mg
        super().__init__(template, **figures)


_UNREADABLE = gettext_noop(
    "This is not a mass. Write digits with one decimal sign and a unit, for example 24.31 g."
)
_TOO_LONG = gettext_noop("This is too long for a mass. Write at most %(length_max)s characters.")
_NOT_WHOLE = gettext_noop(
    "The mass must come to whole milligrams. Write no more than three decimals of a gram."
)
_NOTHING = gettext_noop("The mass must be more than zero. Weigh it again.")
_OFF_STEP = gettext_noop(
    "This scale shows steps of %(resolution)s, so it cannot have shown this mass. "
    "Check the figure or choose the scale that was used."
)
_TOO_HEAVY = gettext_noop(
    "The mass is over %(capacity)s, the most that can be weighed here. "
    "Check the figure and its unit, or choose the scale that was used."
)
_TWO_READINGS = gettext_noop(
    "This can be read as %(first)s or as %(second)s. "
    "Write the one you mean without a point or comma: %(first_plain)s or %(second_plain)s."
)


def parse_mass_mg(
    text: str, *, resolution_mg: int | None = None, capacity_mg: int | None = None
) -> int:
    """Return the whole milligrams meant by `text`; a bare number is grams.

    Args:
        text: for example "24,31", "0.024 kg", "24 310 mg" or "1'234,5 g".
        resolution_mg: the scale's step; readings that are no multiple of it are dropped.
        capacity_mg: the scale's capacity; readings above it are dropped.

    Raises:
        BadMass: no reading is feasible; the message names the limit that stands in the way.
        AmbiguousMass: two readings are feasible and differ.
    """
    step_mg = 1 if resolution_mg is None else resolution_mg
    ceiling_mg = MASS_MG_MAX if capacity_mg is None else min(capacity_mg, MASS_MG_MAX)
    if step_mg < 1 or ceiling_mg < 1:
        raise ValueError("a scale's resolution and capacity are at least 1 mg")
    readings = _readings_mg(text)
    # Only what the scale can show is left: its step and capacity decide most of what a comma leaves
    # open.
    feasible = sorted({int(r) for r in readings if _obstacle(r, step_mg, ceiling_mg) is None})
    if not feasible:
        # One message for all readings: that of the smallest, which comes nearest to any capacity.
        raise _refusal(min(readings), step_mg, ceiling_mg)
    if len(feasible) > 1:
        raise _ambiguity(feasible)
    return feasible[0]


def is_ambiguous(text: str) -> bool:
    """Whether the text alone can be read as two masses, whatever a scale can show: "1.234"."""
    return len(_readings_mg(text)) > 1


def mass_g(mass_mg: int) -> Decimal:
    """Return the mass in grams, exact, with three decimals."""
    # Decimal and not a float: 24.310 g must come out as it was typed, to the last zero.
    return Decimal(mass_mg).scaleb(-3)


def format_mass(mass_mg: int, *, decimal_sign: str = ".") -> str:
    """Return for example "24.310 g": grams, three decimals, no thousands sign."""
    return f"{_signed(mass_g(mass_mg), decimal_sign)} g"


def _signed(figure: Decimal, decimal_sign: str) -> str:
    if decimal_sign not in _DECIMAL_SIGNS:
        raise ValueError("the decimal sign is a point or a comma")
    return f"{figure:f}".replace(".", decimal_sign)


def _readings_mg(text: str) -> set[Decimal]:
    if len(text) > TEXT_LENGTH_MAX:
        raise BadMass(_TOO_LONG, length_max=str(TEXT_LENGTH_MAX))
    shape = _SHAPE.fullmatch(text.translate(_SAME_SIGN).strip(" \t\r\n"))
    unit = _UNIT_SPELLINGS.get(shape["unit"]) if shape else None
    if shape is None or unit is None:
        raise BadMass(_UNREADABLE)
    readings = {figure * MG_PER_UNIT[unit] for figure in _figures(shape["number"])}
    if not readings:
        raise BadMass(_UNREADABLE)
    return readings


def _figures(number: str) -> Iterator[Decimal]:
    """Yield every number that the digits and signs can stand for."""
    whole = _ungrouped(number)
    if whole is not None:
        yield Decimal(whole)
    for sign in _DECIMAL_SIGNS:
        before, found, after = number.rpartition(sign)
        # A decimal sign stands once and at the right; `rpartition` finds the last.
        if not found or sign in before or not after.isdigit():
            continue
        whole = _ungrouped(before)
        if whole is not None:
            yield Decimal(f"{whole}.{after}")


def _ungrouped(number: str) -> str | None:
    """Return the digits of a whole number, plain or in threes with one thousands sign."""
    if number.isdigit():
        return number
    for sign in _GROUP_SIGNS:
        first, *others = number.split(sign)
        groups_fit = all(len(group) == 3 and group.isdigit() for group in others)
        # Nobody writes a thousands group behind a leading zero: 0,024 is a decimal.
        if others and groups_fit and re.fullmatch("[1-9][0-9]{0,2}", first):
            return first + "".join(others)
    return None


def _obstacle(reading_mg: Decimal, step_mg: int, ceiling_mg: int) -> str | None:
    if reading_mg <= 0:
        return _NOTHING
    if reading_mg > ceiling_mg:
        return _TOO_HEAVY
    if reading_mg != int(reading_mg):
        return _NOT_WHOLE
    return _OFF_STEP if int(reading_mg) % step_mg else None


def _refusal(reading_mg: Decimal, step_mg: int, ceiling_mg: int) -> BadMass:
    template = _obstacle(reading_mg, step_mg, ceiling_mg) or _UNREADABLE
    return BadMass(template, resolution=step_mg, capacity=ceiling_mg)


def _ambiguity(feasible_mg: list[int]) -> AmbiguousMass:
    first, second = feasible_mg[0], feasible_mg[-1]
    return AmbiguousMass(
        _TWO_READINGS,
        tuple(feasible_mg),
        first=first,
        second=second,
        first_plain=_plain(first),
        second_plain=_plain(second),
    )


def _plain(mass_mg: int) -> str:
    grams, rest_mg = divmod(mass_mg, MG_PER_UNIT["g"])
    return f"{mass_mg} mg" if rest_mg else f"{grams} g"
