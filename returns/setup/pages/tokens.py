"""Access tokens for machines: made here, shown once, revoked here."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods, require_POST

from inventory.errors import NotFound
from inventory.furniture.pages.access import StaffRequest, allow
from inventory.furniture.pages.forms import ActionForm
from inventory.models import AccessToken
from inventory.staff.queries import OWNER
from inventory.staff.rules import tokens

SHOWN_MAX = 200

SCOPE_NAMES = {
    "file": gettext_lazy("file requests for customers"),
    "bench": gettext_lazy("work at the bench"),
    "accounts": gettext_lazy("months and reports"),
    "owner": gettext_lazy("circularity figures and sales lists"),
    "read": gettext_lazy("only read what is ticked above, change nothing"),
}


class TokenForm(ActionForm):
    name = forms.CharField(
        label=gettext_lazy("What is it for"),
        max_length=60,
        help_text=gettext_lazy("Such as: web shop, files returns"),
    )
    scopes = forms.MultipleChoiceField(
        label=gettext_lazy("What it may do"),
        choices=[(scope, SCOPE_NAMES.get(scope, scope)) for scope in tokens.SCOPES],
        widget=forms.CheckboxSelectMultiple,
    )
    days = forms.IntegerField(
        label=gettext_lazy("Valid for how many days"),
        min_value=1,
        max_value=tokens.DAYS_MAX,
        initial=90,
    )


@allow(OWNER)
@require_http_methods(["GET", "POST"])
def page(request: StaffRequest) -> HttpResponse:
    """List and make tokens. The text of a new one stands in this one answer and nowhere else."""
    form = TokenForm(request.POST if request.method == "POST" else None)
    made: dict[str, Any] = {}
    if request.method == "POST" and form.is_valid():
        made = _issued(request, form)
        # A fresh form has a fresh key: the old one would answer with a refusal.
        form = form if form.errors else TokenForm()
    facts = {
        "form": form,
        "now": timezone.now(),
        "tokens": [
            (token, [SCOPE_NAMES.get(scope, scope) for scope in token.scopes])
            for token in AccessToken.objects.select_related("user").order_by("-created_at")[
                :SHOWN_MAX
            ]
        ],
        **made,
    }
    status = 400 if form.errors else 200
    return render(request, "returns/owner/tokens.html", facts, status=status)


def _issued(request: StaffRequest, form: TokenForm) -> dict[str, Any]:
    facts = form.cleaned_data
    done = form.attempt(
        tokens.issue,
        name=facts["name"],
        user=request.user,
        scopes=facts["scopes"],
        days=facts["days"],
        at=timezone.now(),
        by=request.user,
    )
    # Shown in the answer to the POST, with no redirect: a session would keep the text.
    return {} if done is None else {"made": done[0], "made_text": done[1]}


@allow(OWNER)
@require_POST
def revoke(request: StaffRequest, number: int) -> HttpResponse:
    """Revoke one; a token that is revoked already stays so."""
    token = AccessToken.objects.filter(pk=number).first()
    if token is None:
        raise NotFound
    tokens.revoke(token=token, at=timezone.now(), by=request.user)
    messages.success(request, _("“%(name)s” is revoked.") % {"name": token.name})
    return redirect("tokens")
