"""How far each number behind a decision may be off, in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django.utils.translation import gettext as _t
from django.utils.translation import gettext_lazy as _

from inventory.furniture.numbers import fixed
from inventory.furniture.wording import money, ppm
from returns.grading.pages.wording import Words, component

NUMBERS: Words = {
    "minutes": _("the bench time of “%(remedy)s” (%(component)s)"),
    "odds_ppm": _("the share of times that “%(remedy)s” (%(component)s) holds"),
    "part_minor": _("the price of one %(part)s"),
    "labour_minor_per_hour": _("the cost of an hour at the bench"),
    "postage_out_minor": _("the postage to the customer"),
    "material_minor_per_kg": _("the worth of a kilogram of its material"),
    "new_frame_cost_minor": _("the cost of making a new frame"),
    "ceiling_minor": _("the ceiling for mending"),
}
THEN: Words = {
    "mend": _("mending would pay"),
    "wait": _("it would wait for parts to be mended"),
    "replace": _("mending would not pay"),
}


def rows(
    thresholds: Sequence[Mapping[str, Any]], currency: str, names: Mapping[str, str]
) -> list[dict[str, str]]:
    """Each kept tipping point as a sentence, with today's value and how far off it is."""
    return [
        {
            "words": _sentence(one, currency, names),
            "now": _value(one["number"], one["now"], currency),
            "off": str(ppm(one["off_ppm"])),
        }
        for one in thresholds
        if one["at"] is not None
    ]


def never(thresholds: Sequence[Mapping[str, Any]], names: Mapping[str, str]) -> str:
    """The numbers that change nothing however far off they are, in one sentence, if any."""
    sure = [_what(one, names) for one in thresholds if one["at"] is None]
    data = {"what": "; ".join(sure)}
    if not sure:
        return ""
    return _t("Up to four times today's value none of these changes the decision: %(what)s.") % data


def _sentence(one: Mapping[str, Any], currency: str, names: Mapping[str, str]) -> str:
    data = {
        "what": _what(one, names),
        "at": _value(one["number"], one["at"], currency),
        "then": THEN[one["then"]],
    }
    if one["at"] > one["now"]:
        return _t("If %(what)s were %(at)s or more, %(then)s.") % data
    return _t("If %(what)s were %(at)s or less, %(then)s.") % data


def _what(one: Mapping[str, Any], names: Mapping[str, str]) -> str:
    return str(NUMBERS[one["number"]]) % {
        "remedy": one["name"],
        "component": component(one["component"]) if one["component"] else "",
        "part": names.get(one["part"], one["part"]),
    }


def _value(number: str, value: float, currency: str) -> str:
    if number == "minutes":
        return f"{fixed(value, 0 if value == round(value) else 1)} min"
    return str(ppm(round(value))) if number == "odds_ppm" else money(round(value), currency)
