"""Figures as the report prints them: with fixed decimals, so that they line up.

Nothing is rounded, except where a function says so.
"""

from __future__ import annotations

from decimal import ROUND_CEILING, Decimal

from django.utils.formats import get_format

from inventory.weighing.sums import masses

MINUS = "\u2212"
NARROW_SPACE = "\u202f"
NONE = "\u2013"


def grams(mass_mg: int) -> str:
    """Return milligrams as grams with three decimals, exact: -117000 reads "−117.000"."""
    return fixed(Decimal(mass_mg).scaleb(-3), 3)


def money(amount_minor: int | None) -> str:
    """Return minor units as units with two decimals, exact; a dash where nothing is known."""
    return NONE if amount_minor is None else fixed(Decimal(amount_minor).scaleb(-2), 2)


def pieces(count: int) -> str:
    """Return whole pieces, in threes."""
    return fixed(Decimal(count), 0)


def uncertainty_g(expanded_ug: int) -> str:
    """Return micrograms as grams, three decimals, rounded up: never a smaller uncertainty."""
    rounded = Decimal(expanded_ug).scaleb(-6).quantize(Decimal("0.001"), ROUND_CEILING)
    return fixed(rounded, 3)


def fixed(figure: Decimal | float, decimals: int) -> str:
    """Return a figure rounded to so many decimals, in threes, in the signs of the language."""
    # Formatted without the sign: the hyphen of a minus would break at a line's end, and is too
    # short.
    text = f"{abs(figure):,.{decimals}f}"
    whole, _point, rest = text.partition(".")
    shown = whole.replace(",", NARROW_SPACE)
    if rest:
        shown += f"{get_format('DECIMAL_SEPARATOR')}{rest}"
    return f"{MINUS}{shown}" if figure < 0 else shown


def mass_words(mass_mg: int) -> str:
    """Return a mass for a sentence: grams, three decimals, the reader's decimal sign."""
    return masses.format_mass(mass_mg, decimal_sign=get_format("DECIMAL_SEPARATOR"))
