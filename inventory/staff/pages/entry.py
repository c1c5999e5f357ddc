"""Signing in and out and changing one's password, with the framework's own views."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.contrib.auth import authenticate
from django.contrib.auth.forms import AuthenticationForm, PasswordChangeForm, SetPasswordForm
from django.contrib.auth.views import (
    LoginView,
    LogoutView,
    PasswordChangeView,
    PasswordResetConfirmView,
)
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect
from django.urls import reverse, reverse_lazy
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.errors import Conflict
from inventory.furniture import visitors
from inventory.furniture.pages import frame
from inventory.models import SignIn
from inventory.staff.rules import signins, staff

NAME_MAX = 255
FIRST = "first_password"
"""In the session of somebody who came in with a password that the owner knows."""


class FirstPasswordMiddleware:
    """Lets somebody with a first password do one thing: set one of their own."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        # A visitor without a session is not asked for one: that would cost a query.
        has_session = settings.SESSION_COOKIE_NAME in request.COOKIES
        if has_session and request.session.get(FIRST) and not self._is_open(request.path):
            return redirect("password-change")
        return self.get_response(request)

    @staticmethod
    def _is_open(path: str) -> bool:
        names = ("password-change", "logout", "set_language")
        return path.startswith(settings.STATIC_URL) or path in {reverse(one) for one in names}


def tried_name(request: HttpRequest, credentials: dict[str, str] | None = None) -> str:
    """The name under which a wrong try is counted, cut to what the table of tries holds.

    Tries from a browser that this name signed in from before count apart from everybody else's.
    """
    given = credentials if credentials else request.POST
    name = str(given.get("username") or "")
    mark = visitors.known_mark(request, name)
    return f"{name[: NAME_MAX - len(mark) - 1]} {mark}" if mark else name[:NAME_MAX]


class Enter(LoginView):
    """Sign in; too many wrong tries for a name from one address rest for a while (429)."""

    template_name = "hingeback/door/enter.html"
    redirect_authenticated_user = True

    def form_valid(self, form: AuthenticationForm) -> HttpResponse:
        try:
            is_first = staff.use(person=form.get_user(), at=timezone.now())
        except Conflict as error:
            form.add_error(None, error.message)
            return self.form_invalid(form)
        answer = super().form_valid(form)
        if is_first:
            self.request.session[FIRST] = True
            messages.info(
                self.request, _("Choose a password of your own: the first one is used up.")
            )
            return redirect("password-change")
        visitors.remember(answer, form.get_user())
        return answer


class Leave(LogoutView):
    """Sign out, by POST only."""


class GuardedPasswordForm(PasswordChangeForm):
    """A wrong old password counts as a wrong try: an open session is no place to guess in."""

    request: HttpRequest

    def clean_old_password(self) -> str:
        typed = str(self.cleaned_data["old_password"])
        # Through `authenticate`, which counts wrong tries, and not by comparing the hash, which
        # nobody counts.
        if authenticate(self.request, username=self.user.get_username(), password=typed) is None:
            raise ValidationError(self.error_messages["password_incorrect"], "password_incorrect")
        return typed


class ChangePassword(PasswordChangeView):
    """Set one's own new password; other sessions of the same person end."""

    form_class = GuardedPasswordForm
    template_name = "hingeback/door/password.html"
    success_url = reverse_lazy("home")

    def get_form(self, form_class: Any = None) -> Any:
        form: Any = super().get_form(form_class)
        form.request = self.request
        return form

    def form_valid(self, form: PasswordChangeForm) -> HttpResponse:
        answer = super().form_valid(form)
        staff.made_own(person=form.user)
        signins.end_others(user=form.user, but=self.request.session.session_key)
        signins.note(what=SignIn.What.PASSWORD_SET, user=form.user, at=timezone.now())
        self.request.session.pop(FIRST, None)
        messages.success(self.request, _("Your new password is set."))
        return answer


class FirstPassword(PasswordResetConfirmView):
    """The first owner's one-time link: sets the password, signs in, and opens nothing again."""

    template_name = "hingeback/door/first.html"
    post_reset_login = True
    post_reset_login_backend = "django.contrib.auth.backends.ModelBackend"

    def get_success_url(self) -> str:
        return frame.address("setup") or str(reverse_lazy("home"))

    def form_valid(self, form: SetPasswordForm[Any]) -> HttpResponse:
        answer = super().form_valid(form)
        messages.success(self.request, _("Your password is set, and you are signed in."))
        visitors.remember(answer, form.user)
        return answer
