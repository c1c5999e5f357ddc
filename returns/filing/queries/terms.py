"""What it costs and who pays the postage, in sentences for customers. Reads.

What the workshop has not entered is not promised: the sentence then says to ask first.
"""

from __future__ import annotations

from typing import Final

from django.utils.translation import gettext as _

from inventory.furniture import numbers
from inventory.models import Workshop
from returns.models import Request, Terms
from returns.models.terms import PaidBy

WALK_IN: Final = "walk_in"
"""A frame that is brought to the counter: it has no postage to us."""
COLLECTED: Final = "collected"
"""One that is fetched there too: it has none at all."""


def cost_kind(request: Request) -> str:
    """Return for which kind of costs a request is; see `cost_words`."""
    if request.collects:
        return COLLECTED
    return WALK_IN if hasattr(request, "walk_in") else request.kind


def cost_words(kind: str) -> list[str]:
    """Say what a customer should know about money before a request of this kind is filed.

    `kind` is a request's own, or WALK_IN or COLLECTED.
    """
    terms = Terms.the()
    if not terms.is_priced:
        return [_("We have not written down yet what it costs and who pays the postage."), _ask()]
    if kind == Request.Kind.SCREWS:
        data = [_kit(terms.kit_minor)]
    else:
        data = [_mending(terms.mending_minor)]
        if kind not in (WALK_IN, COLLECTED):
            data.append(_to_us(terms.postage_in_paid_by))
        if kind != COLLECTED:
            data.append(_back(terms.postage_back_paid_by))
    return [*data, terms.cost_note] if terms.cost_note else data


def _ask() -> str:
    return _("Ask us before you post anything: %(email)s") % {"email": Workshop.the().email}


def _kit(price_minor: int | None) -> str:
    if not price_minor:
        return _("The screws and their postage cost you nothing.")
    return _("The kit costs you %(price)s, postage included.") % _price(price_minor)


def _mending(price_minor: int | None) -> str:
    if not price_minor:
        return _("Looking it over, mending and grinding cost you nothing.")
    return _(
        "Looking it over and grinding cost you nothing. A mended frame costs you %(price)s."
    ) % _price(price_minor)


def _price(price_minor: int) -> dict[str, str]:
    return {"price": f"{numbers.money(price_minor)} {Workshop.the().currency}"}


def _to_us(payer: str) -> str:
    if payer == PaidBy.WORKSHOP:
        return _("We pay the postage of your parcel to us.")
    return _("You pay the postage of your parcel to us.")


def _back(payer: str) -> str:
    if payer == PaidBy.WORKSHOP:
        return _("We pay the postage back to you.")
    return _("You pay the postage back to you.")


def name_place() -> str:
    """Return where the model's name stands on a frame, as the workshop wrote it."""
    return Terms.the().name_place
