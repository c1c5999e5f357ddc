"""The six figures at the head of the owner's first page: value, range, trend, and what to do."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from django.urls import reverse
from django.utils.translation import gettext as _

from inventory.furniture.numbers import fixed, money
from inventory.furniture.wording import mass_kg
from inventory.models import Workshop
from returns.figures.circularity.pages import shown
from returns.figures.circularity.queries.headline import Figure, Headline

Word = Callable[[float], str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Tile:
    """One figure in words; `better` says whether its trend is good news, None where it is none."""

    label: str
    value: str
    spread: str
    trend: str
    better: bool | None
    todo: str
    address: str


def tiles(now: Headline, before: Headline | None, late: int) -> list[Tile]:
    """Return the tiles; `late` is how many frames in the house are past their day."""
    currency = Workshop.the().currency
    rows: list[tuple[str, str, Word, bool, tuple[str, str]]] = [
        ("promise", _("Promise kept"), shown.percent, True, _promise(late)),
        ("repair", _("Repair share"), shown.percent, True, _repair()),
        ("recovered_mg", _("Recovered from returns"), _kg, True, _recovered()),
        ("moulded", _("Returned material in what was moulded"), shown.percent, True, _moulded()),
        ("flake_weeks", _("Flake lasts, weeks"), lambda weeks: fixed(weeks, 1), True, _flake()),
        (
            "cost_minor",
            _("A returned frame costs"),
            lambda minor: f"{money(round(minor))} {currency}",
            False,
            _cost(),
        ),
    ]
    return [
        _tile(label, (getattr(now, name), getattr(before, name, None)), (word, is_good), todo)
        for name, label, word, is_good, todo in rows
    ]


def _tile(
    label: str,
    figures: tuple[Figure | None, Figure | None],
    read: tuple[Word, bool],
    todo: tuple[str, str],
) -> Tile:
    (now, before), (word, more_is_good), (words, address) = figures, read, todo
    better: bool | None = None
    value, spread, trend = "–", _("not enough yet"), ""
    if now is not None:
        value, spread = word(now.value), _spread(now, word)
        trend, better = _trend(now, before, word, more_is_good)
    return Tile(
        label=label,
        value=value,
        spread=spread,
        trend=trend,
        better=better,
        todo=words,
        address=address,
    )


def _spread(found: Figure, word: Word) -> str:
    low, high = word(found.low), word(found.high)
    return "" if low == high else _("%(low)s to %(high)s") % {"low": low, "high": high}


def _trend(
    now: Figure, before: Figure | None, word: Word, more_is_good: bool
) -> tuple[str, bool | None]:
    """Say how it stands to the months before; ranges that meet are no change."""
    if before is None:
        return _("nothing to compare with before"), None
    facts = {"before": word(before.value)}
    if not now.differs(before):
        return _("no clear change; before %(before)s") % facts, None
    is_more = now.value > before.value
    words = _("up from %(before)s") if is_more else _("down from %(before)s")
    return words % facts, is_more == more_is_good


def _kg(mass_mg: float) -> str:
    # To a tenth of a gram: of a range nobody reads more.
    return str(mass_kg(100 * round(mass_mg / 100)))


def _promise(late: int) -> tuple[str, str]:
    if late:
        return _("See what is late at the bench"), reverse("bench")
    return _("Try another promise or a hand more"), reverse("what-if")


def _repair() -> tuple[str, str]:
    return _("See which remedies hold"), reverse("remedy-evidence")


def _recovered() -> tuple[str, str]:
    return _("Grind what waits in the boxes"), reverse("boxes")


def _moulded() -> tuple[str, str]:
    return _("Plan the next batches"), reverse("press-plan")


def _flake() -> tuple[str, str]:
    return _("Count the lots, or buy in time"), reverse("stock")


def _cost() -> tuple[str, str]:
    return _("See which batch costs most"), reverse("design")
