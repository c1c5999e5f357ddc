"""What a giver's private link opens: the receipt in grams, and what became of it. No person."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from inventory.errors import NotFound
from inventory.goods import queries
from inventory.models import GoodsKind
from returns.goods import queries as told
from returns.goods.pages import shown
from returns.story.pages.personal import REFERRER_WITHOUT_FORMS, personal


@require_safe
@personal
def page(request: HttpRequest, secret: str) -> HttpResponse:
    """Show what a load weighed, what was taken out of it, and what its plastic became."""
    load = told.by_secret(secret)
    if load is None:
        raise NotFound(_("This link leads nowhere. Ask at the workshop for it."))
    one = queries.standing(load)
    facts = {
        "it": one,
        "load": load,
        "kind": GoodsKind.names().get(load.kind, load.kind),
        "streams": shown.streams(one),
        "became": told.became(one),
    }
    response = render(request, "returns/goods/told.html", facts)
    response["Referrer-Policy"] = REFERRER_WITHOUT_FORMS
    return response
