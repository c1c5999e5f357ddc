"""The page that asks for the second factor, and the passkeys' own addresses over their library."""

from __future__ import annotations

import json
from typing import Any

from django import forms
from django.conf import settings
from django.contrib.auth.decorators import login_required
from django.contrib.auth.models import User
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render, resolve_url
from django.urls import path
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext_lazy as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods
from django.views.i18n import JavaScriptCatalog
from django_otp import login as otp_login
from django_otp_webauthn import views as library
from django_otp_webauthn.exceptions import MalformedRequest, NotVerified, OTPWebAuthnApiError

from inventory.furniture.sessions import DONE, SECOND
from inventory.staff import queries
from inventory.staff.pages import door
from inventory.staff.rules import second, signins
from inventory.staff.rules.signins import What

BODY_BYTES_MAX = 64_000


class CodeForm(forms.Form):
    code = forms.CharField(
        label=_("Code"),
        max_length=40,
        help_text=_("The six digits that your code app shows now, or one of your recovery codes."),
        widget=forms.TextInput(attrs={"autocomplete": "one-time-code", "spellcheck": "false"}),
    )
    trust = forms.BooleanField(label=_("Do not ask in this browser for a while"), required=False)


@login_required
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def page(request: HttpRequest) -> HttpResponse:
    """Ask for a code or a passkey. A wrong code is counted, and each one doubles the wait."""
    user = door.person(request)
    factors = queries.factors_of(user)
    if request.session.get(SECOND) == DONE and (not factors or request.user.is_verified()):  # type: ignore[union-attr]
        return redirect(way_on(request))
    form = CodeForm(request.POST if request.method == "POST" else None)
    if not door.may_be_trusted(user):
        del form.fields["trust"]
    if form.is_bound and form.is_valid():
        device = second.shown(user=user, code=form.cleaned_data["code"])
        if device is not None:
            otp_login(request, device)
            return _let_in(request, user, form)
        door.noted(request, What.WRONG_CODE)
        form.add_error("code", _wrong(user))
    facts = {
        "form": form,
        "has_passkey": settings.PASSKEYS and any(one.kind == "passkey" for one in factors),
        "days": settings.TRUST_DAYS,
        "next": way_on(request),
    }
    return render(request, "hingeback/door/second.html", facts, status=400 if form.errors else 200)


def _wrong(user: User) -> Any:
    if second.must_wait(user):
        return _("This code does not fit, or came too soon after a wrong one. Wait a little.")
    return _("This code does not fit.")


def _let_in(request: HttpRequest, user: User, form: CodeForm) -> HttpResponse:
    door.noted(request, What.PROVED)
    # A new key: one that somebody saw before this step opens nothing after it.
    request.session.cycle_key()
    door.passed(request)
    answer = redirect(way_on(request))
    if form.cleaned_data.get("trust"):
        door.trust(answer, user)
    return answer


def way_on(request: HttpRequest) -> str:
    """Where to go afterwards: a page of ours that was asked for, else the desk."""
    wanted = request.POST.get("next") or request.GET.get("next") or ""
    is_ours = url_has_allowed_host_and_scheme(
        wanted, allowed_hosts={request.get_host()}, require_https=request.is_secure()
    )
    return wanted if is_ours and wanted.startswith("/") else resolve_url("home")


class _Guarded(library.BaseWebAuthnView):  # type: ignore[misc]
    """What the library leaves to us: a body that is no object, and what only looks like an answer.

    The library's own refusals are answers in JSON already.
    """

    def _parse_request_data(self, request: HttpRequest) -> Any:
        body = request.body[: BODY_BYTES_MAX + 1]
        if not body:
            return {}
        try:
            data = json.loads(body) if len(body) <= BODY_BYTES_MAX else None
        except (ValueError, RecursionError) as error:
            raise MalformedRequest from error
        if not isinstance(data, dict):
            raise MalformedRequest
        return data

    def handle_exception(self, error: Exception) -> Any:
        known = isinstance(error, OTPWebAuthnApiError)
        is_nonsense = isinstance(error, ValueError | TypeError | KeyError | AttributeError)
        return super().handle_exception(MalformedRequest() if is_nonsense and not known else error)


class _Register(_Guarded):
    def check_can_register(self) -> None:
        if not door.is_sure(self.request):
            raise NotVerified(_("Type your password again first: load this page anew."))


class BeginRegistration(_Register, library.BeginCredentialRegistrationView):  # type: ignore[misc]
    """What the browser needs to make a passkey."""


class CompleteRegistration(_Register, library.CompleteCredentialRegistrationView):  # type: ignore[misc]
    """Take a passkey that the browser has made. The person's other sessions end."""

    def post(self, *args: Any, **kwargs: Any) -> Any:
        answer = super().post(*args, **kwargs)
        door.passed(self.request)
        door.noted(self.request, What.FACTOR_ADDED)
        signins.end_others(user=self.request.user, but=self.request.session.session_key)
        return answer


class BeginAuthentication(_Guarded, library.BeginCredentialAuthenticationView):  # type: ignore[misc]
    """What the browser needs to show a passkey."""


class CompleteAuthentication(_Guarded, library.CompleteCredentialAuthenticationView):  # type: ignore[misc]
    """Look at a passkey that was shown."""

    def handle_exception(self, error: Exception) -> Any:
        door.noted(self.request, What.WRONG_CODE)
        return super().handle_exception(error)

    def complete_auth(self, device: Any) -> Any:
        super().complete_auth(device)
        door.noted(self.request, What.PROVED)
        self.request.session.cycle_key()
        door.passed(self.request)


urlpatterns = [
    path(
        "make/", login_required(BeginRegistration.as_view()), name="credential-registration-begin"
    ),
    path(
        "made/",
        login_required(CompleteRegistration.as_view()),
        name="credential-registration-complete",
    ),
    path(
        "show/",
        login_required(BeginAuthentication.as_view()),
        name="credential-authentication-begin",
    ),
    path(
        "shown/",
        login_required(CompleteAuthentication.as_view()),
        name="credential-authentication-complete",
    ),
    path(
        "words.js",
        JavaScriptCatalog.as_view(packages=["django_otp_webauthn"]),
        name="js-i18n-catalog",
    ),
]
