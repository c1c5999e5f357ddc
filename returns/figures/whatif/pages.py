"""The owner turns a screw of the workshop and sees what would follow; nothing is changed by it."""

from __future__ import annotations

from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _t
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_safe

from inventory.furniture.numbers import fixed, money
from inventory.furniture.pages.access import allow
from inventory.furniture.wording import mass_kg
from inventory.models import Workshop
from inventory.staff.queries import OWNER
from returns.figures.circularity.pages import shown
from returns.figures.circularity.pages.tables import Cell, Table, words
from returns.figures.claims.sums.claims import InputRefused
from returns.figures.whatif import queries
from returns.figures.whatif.queries import Compared, Known
from returns.figures.whatif.sums import CASES_MIN, Outcome, Ranged

HANDS_MAX = 20


class WhatIfForm(forms.Form):
    """What may be turned. Bounds keep the simulation within what it can tell."""

    hands_now = forms.IntegerField(
        label=_("Hands at the bench now"), min_value=1, max_value=HANDS_MAX
    )
    hands = forms.IntegerField(label=_("Hands then"), min_value=1, max_value=HANDS_MAX)
    promise_days = forms.IntegerField(label=_("Promised days"), min_value=1, max_value=365)
    returns = forms.DecimalField(
        label=_("Returns, times as many"),
        min_value=0.1,
        max_value=10,
        decimal_places=2,
        help_text=_("2 is twice as many."),
    )
    pace = forms.DecimalField(
        label=_("Minutes for a frame, times as many"),
        min_value=0.1,
        max_value=5,
        decimal_places=2,
        help_text=_("0.8 is a fifth faster."),
    )
    ceiling = forms.IntegerField(
        label=_("Mending may cost, against replacing, %"), min_value=0, max_value=1000
    )
    labour = forms.DecimalField(
        label=_("An hour of work costs"), min_value=0, max_value=10_000, decimal_places=2
    )
    new_frame = forms.DecimalField(
        label=_("A new frame costs"), min_value=0, max_value=100_000, decimal_places=2
    )


@require_safe
@allow(OWNER)
def page(request: HttpRequest) -> HttpResponse:
    """Show the form filled with the shop as it is and, once it was sent, what would follow."""
    hands = _hands(request)
    found = queries.known(timezone.now(), hands=hands)
    start = _as_it_is(found)
    form = WhatIfForm(start | {k: v for k, v in request.GET.items() if k in start})
    facts: dict[str, Any] = {"form": form, "wide": True, "cases": len(found.cases)}
    status = 200
    if not form.is_valid():
        status = 400
    elif "hands" in request.GET or len(found.cases) < CASES_MIN:
        facts |= _answer(found, form)
    return render(request, "returns/owner/what_if.html", facts, status=status)


def _hands(request: HttpRequest) -> int:
    told = request.GET.get("hands_now", "1")
    return min(HANDS_MAX, max(1, int(told))) if told.isdecimal() and len(told) < 4 else 1


def _as_it_is(found: Known) -> dict[str, Any]:
    shop = found.shop
    return {
        "hands_now": shop.hands,
        "hands": shop.hands,
        "promise_days": max(1, Workshop.the().promise_days),
        "returns": "1",
        "pace": "1",
        "ceiling": round(100 * shop.ceiling),
        "labour": f"{shop.labour_minor_per_hour / 100:.2f}",
        "new_frame": f"{shop.new_frame_minor / 100:.2f}",
    }


def _answer(found: Known, form: WhatIfForm) -> dict[str, Any]:
    data = form.cleaned_data
    told = {
        "promise_days": float(data["promise_days"]),
        "returns": float(data["returns"]),
        "hands": float(data["hands"]),
        "pace": float(data["pace"]),
        "labour_minor": float(data["labour"] * 100),
        "new_frame_minor": float(data["new_frame"] * 100),
        "ceiling": data["ceiling"] / 100,
    }
    try:
        compared = queries.compared(found, queries.changed(found.shop, told))
    except InputRefused:
        return {"too_many": True}
    if compared.missing:
        return {"lacking": shown.lacking(compared.missing)}
    return {"table": _table(compared), "overfull": _overfull(compared)}


def _overfull(found: Compared) -> bool:
    return found.then is not None and found.then.load >= 1


def _table(found: Compared) -> Table:
    rows = []
    if found.now and found.then:
        for name, label, word in _ROWS:
            now, then = word(found.now), word(found.then)
            rows.append((words(name, str(label)), now, then))
    return Table(
        "what-if",
        _t("A year as it is, and as it would be"),
        ("figure", "now", "then"),
        (_t("Figure"), _t("As it is"), _t("As it would be")),
        tuple(rows),
    )


def _spread(found: Ranged, word: Any) -> Cell:
    middle, low, high = (word(one) for one in (found.middle, found.low, found.high))
    if low == high:
        return Cell(found.middle, middle)
    limits = _t("%(low)s to %(high)s") % {"low": low, "high": high}
    return Cell(found.middle, f"{middle} ({limits})")


def _money(minor: float) -> str:
    return f"{money(round(minor))} {Workshop.the().currency}"


def _load(found: Outcome) -> Cell:
    return Cell(found.load, shown.percent(found.load))


_ROWS: tuple[tuple[str, Any, Any], ...] = (
    ("promise", _("Promise kept"), lambda o: _spread(o.promise_kept, shown.percent)),
    ("load", _("Hands' time asked for"), _load),
    (
        "wait",
        _("Open days that a frame waits for a hand"),
        lambda o: _spread(o.wait_days, lambda d: fixed(d, 1)),
    ),
    ("repair", _("Repair share"), lambda o: _spread(o.repair_share, shown.percent)),
    (
        "recovered",
        _("Flake recovered in the year"),
        lambda o: _spread(o.recovered_mg, lambda mg: mass_kg(round(mg))),
    ),
    ("cost", _("Cost of the year"), lambda o: _spread(o.cost_minor, _money)),
    ("cost_a_frame", _("Cost of a frame"), lambda o: _spread(o.cost_a_frame_minor, _money)),
)
