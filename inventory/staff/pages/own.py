"""One's own sign-in: second factors, recovery codes, where one is signed in, and what happened."""

from __future__ import annotations

import base64
from typing import Any

from django import forms
from django.conf import settings
from django.contrib import messages
from django.contrib.auth import authenticate
from django.contrib.auth.decorators import login_required
from django.contrib.auth.models import User
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import urlencode
from django.utils.safestring import mark_safe
from django.utils.translation import gettext as _t
from django.utils.translation import gettext_lazy as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST, require_safe
from django_otp import login as otp_login
from django_otp.plugins.otp_totp.models import TOTPDevice

from inventory.errors import HingebackError
from inventory.furniture.sessions import SECOND, SHOW
from inventory.staff import queries
from inventory.staff.pages import door
from inventory.staff.pages.second import way_on
from inventory.staff.rules import second, signins


class PasswordForm(forms.Form):
    password = forms.CharField(
        label=_("Password"),
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )


class FirstCodeForm(forms.Form):
    code = forms.CharField(
        label=_("The six digits that the app shows now"),
        max_length=12,
        widget=forms.TextInput(attrs={"autocomplete": "one-time-code", "inputmode": "numeric"}),
    )


def _asks_password(request: HttpRequest) -> HttpResponse | None:
    """Where to go first; None when somebody may change what opens the door."""
    if queries.factors_of(door.person(request)) and not door.is_proved(request):
        # In a trusted browser nobody was asked; for this one is.
        request.session[SECOND] = SHOW
        return redirect(f"{reverse('second')}?{urlencode({'next': reverse('own')})}")
    if door.is_sure(request):
        return None
    there = request.path if request.method == "GET" else reverse("own")
    return redirect(f"{reverse('sure')}?{urlencode({'next': there})}")


@login_required
@never_cache
@require_safe
def page(request: HttpRequest) -> HttpResponse:
    """Show how this person signs in, and where they are signed in."""
    user = door.person(request)
    facts = {
        **door_facts(user, here=request.session.session_key),
        "is_asked": queries.is_factor_asked(user),
        "is_sure": door.is_sure(request),
        "passkeys": settings.PASSKEYS,
        "idle_minutes": settings.SESSION_IDLE_MINUTES,
        "hours": settings.SESSION_COOKIE_AGE // 3600,
    }
    return render(request, "hingeback/door/own.html", facts)


def door_facts(user: User, *, here: str | None = None) -> dict[str, Any]:
    """What is shown of a person's factors, sessions and sign-ins, here and to the owner."""
    return {
        "factors": queries.factors_of(user),
        "codes_left": queries.codes_left(user),
        "sessions": [
            {"it": one, "is_here": one.session_key == here} for one in queries.open_sessions(user)
        ],
        "sign_ins": queries.sign_ins(user),
        "address_days": settings.ADDRESS_DAYS,
    }


@login_required
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def sure(request: HttpRequest) -> HttpResponse:
    """Ask for the password again before anything is changed that opens the door."""
    form = PasswordForm(request.POST if request.method == "POST" else None)
    if form.is_bound and form.is_valid():
        # Through `authenticate`, which counts wrong tries.
        name, typed = request.user.get_username(), form.cleaned_data["password"]
        if authenticate(request, username=name, password=typed) is not None:
            door.now_sure(request)
            return redirect(way_on(request))
        form.add_error("password", _("This is not your password."))
    facts = {"form": form, "next": way_on(request)}
    return render(request, "hingeback/door/sure.html", facts, status=400 if form.errors else 200)


@login_required
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def app(request: HttpRequest) -> HttpResponse:
    """Set up a code app: a picture to scan, and a first code of it as proof."""
    if (way := _asks_password(request)) is not None:
        return way
    user = door.person(request)
    form = FirstCodeForm(request.POST if request.method == "POST" else None)
    if form.is_bound and form.is_valid():
        try:
            second.confirm(user=user, code=form.cleaned_data["code"], at=timezone.now())
        except HingebackError as error:
            form.add_error("code", error.message)
        else:
            otp_login(request, TOTPDevice.objects.filter(user=user, confirmed=True).latest("pk"))
            return _added(request, user)
    waiting = second.begin(user=user)
    facts = {
        "form": form,
        "qr": mark_safe(_qr(waiting.config_url)),  # drawn by us
        "secret": base64.b32encode(waiting.bin_key).decode().rstrip("="),
    }
    return render(request, "hingeback/door/app.html", facts, status=400 if form.errors else 200)


def _added(request: HttpRequest, user: User) -> HttpResponse:
    request.session.cycle_key()
    door.passed(request)
    signins.end_others(user=user, but=request.session.session_key)
    messages.success(request, _t("Your code app is in use. Now make recovery codes."))
    return redirect("own-codes")


@login_required
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def codes(request: HttpRequest) -> HttpResponse:
    """Make recovery codes, shown in this one answer."""
    if (way := _asks_password(request)) is not None:
        return way
    user = door.person(request)
    made: list[str] = []
    if request.method == "POST" and queries.factors_of(user):
        made = second.renew_codes(user=user, at=timezone.now())
    facts = {
        "made": made,
        "left": queries.codes_left(user),
        "has_factor": bool(queries.factors_of(user)),
    }
    return render(request, "hingeback/door/codes.html", facts)


@require_POST
@login_required
def remove(request: HttpRequest, kind: str, number: int) -> HttpResponse:
    """Take a factor out of use; other sessions of the person end."""
    if (way := _asks_password(request)) is not None:
        return way
    user = door.person(request)
    second.remove(user=user, kind=kind, number=number, at=timezone.now())
    signins.end_others(user=user, but=request.session.session_key)
    messages.success(request, _t("It opens nothing any more."))
    return redirect("own")


@require_POST
@login_required
def end(request: HttpRequest, handle: str) -> HttpResponse:
    """End one of one's own sessions."""
    signins.end(user=door.person(request), handle=handle, at=timezone.now())
    messages.success(request, _t("It is signed out."))
    return redirect("own")


def _qr(address: str) -> str:
    # Slow to import, and needed on this page alone.
    import segno

    return str(
        segno.make(address, error="m", micro=False).svg_inline(
            omitsize=True, border=4, light="white"
        )
    )
