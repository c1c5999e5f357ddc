"""The door that every signed-in request passes: the second factor, and sessions that end in time.

Also hears of sign-ins, wherever they happen, and keeps them.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final, cast
from urllib.parse import urlencode

from axes.signals import user_locked_out
from django.conf import settings
from django.contrib.auth import SESSION_KEY
from django.contrib.auth.models import AnonymousUser, User
from django.contrib.auth.signals import user_logged_in, user_logged_out, user_login_failed
from django.core import signing
from django.dispatch import receiver
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.utils.crypto import salted_hmac

from inventory.furniture import sessions as kept
from inventory.furniture import visitors
from inventory.furniture.sessions import DONE, ENTRY, MAKE, SECOND, SHOW
from inventory.models import changes
from inventory.models.sessions import BROWSER_LENGTH_MAX
from inventory.staff import queries
from inventory.staff.pages.entry import FIRST
from inventory.staff.rules import signins
from inventory.staff.rules.signins import What

SURE: Final = "sure_at"
"""In the session: when its person last typed the password."""
SURE_S: Final = 600
_SEEN_EVERY_S: Final = 300
_TRUST_SALT: Final = "hingeback.trusted-browser"
_ALWAYS: Final = ("logout", "set_language", "alive", "otp_webauthn:js-i18n-catalog")
_OPEN: Final = {
    SHOW: (
        "second",
        "otp_webauthn:credential-authentication-begin",
        "otp_webauthn:credential-authentication-complete",
    ),
    MAKE: (
        "own",
        "own-app",
        "own-codes",
        "sure",
        "password-change",
        "otp_webauthn:credential-registration-begin",
        "otp_webauthn:credential-registration-complete",
    ),
}


class DoorMiddleware:
    """Ends sessions in time, and lets nobody past who still has a second factor to show or make.

    And tells the trail of changes which request is served.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        with changes.asked_by(request):
            return self._passed(request)

    def _passed(self, request: HttpRequest) -> HttpResponseBase:
        # A visitor without a session is not asked for one: that would cost a query.
        has_session = settings.SESSION_COOKIE_NAME in request.COOKIES
        if has_session and SESSION_KEY in request.session and not _ended(request):
            state = request.session.get(SECOND, SHOW)
            if state != DONE and not _is_open(request, state):
                door = reverse("second" if state == SHOW else "own")
                return redirect(f"{door}?{urlencode({'next': _way_on(request)})}")
        return self.get_response(request)


def _ended(request: HttpRequest) -> bool:
    """Whether the session's time is up; it is ended then."""
    now = timezone.now()
    entry = request.session.get(ENTRY) or {}
    idle_s = kept.idle_s(entry, now)
    if (
        idle_s > settings.SESSION_IDLE_MINUTES * 60
        or kept.age_s(entry, now) > settings.SESSION_COOKIE_AGE
    ):
        if request.user.is_authenticated:
            noted(request, What.IDLE)
        request.session.flush()
        request.user = AnonymousUser()
        return True
    # Not at each request: that would be a write for each page.
    if idle_s > _SEEN_EVERY_S:
        request.session[ENTRY] = kept.seen(entry, now)
    return False


def _is_open(request: HttpRequest, state: str) -> bool:
    # The API asks for itself, and answers with a problem instead of a page.
    if request.path.startswith((settings.STATIC_URL, "/api/")):
        return True
    if request.path in {reverse(name) for name in (*_ALWAYS, *_OPEN[state])}:
        return True
    # Somebody with a first password sets one of their own before anything else.
    return state == MAKE and bool(request.session.get(FIRST))


def _way_on(request: HttpRequest) -> str:
    return request.get_full_path() if request.method in ("GET", "HEAD") else reverse("home")


def passed(request: HttpRequest) -> None:
    """The session has all that it needs: a factor was shown, or has just been made."""
    request.session[SECOND] = DONE


def is_sure(request: HttpRequest) -> bool:
    """Whether the password was typed a short while ago, here."""
    return timezone.now().timestamp() - float(request.session.get(SURE, 0)) < SURE_S


def now_sure(request: HttpRequest) -> None:
    request.session[SURE] = timezone.now().timestamp()


def trust(answer: HttpResponse, user: User) -> None:
    """Mark a browser in which no second factor is asked of this person for `TRUST_DAYS` days."""
    answer.set_cookie(
        settings.TRUSTED_COOKIE_NAME,
        signing.dumps({"user": user.pk, "mark": _trust_mark(user)}, salt=_TRUST_SALT),
        max_age=settings.TRUST_DAYS * 24 * 3600,
        secure=settings.SESSION_COOKIE_SECURE,
        httponly=True,
        samesite="Lax",
    )


def may_be_trusted(user: User) -> bool:
    """An owner shows the factor each time: that login can do everything."""
    return not user.is_superuser and queries.OWNER not in queries.roles_of(user)


def _is_trusted(request: HttpRequest, user: User) -> bool:
    try:
        data = signing.loads(
            request.COOKIES.get(settings.TRUSTED_COOKIE_NAME, ""),
            salt=_TRUST_SALT,
            max_age=settings.TRUST_DAYS * 24 * 3600,
        )
    except signing.BadSignature:
        return False
    here = {"user": user.pk, "mark": _trust_mark(user)}
    return bool(data == here) and may_be_trusted(user)


def _trust_mark(user: User) -> str:
    """Of the password and the factors: another one of either ends the trust everywhere."""
    factors = [f"{one.kind}-{one.number}" for one in queries.factors_of(user)]
    return salted_hmac(_TRUST_SALT, "|".join([user.password, *factors])).hexdigest()


def _needed(request: HttpRequest, user: User) -> str:
    if queries.factors_of(user):
        return DONE if _is_trusted(request, user) else SHOW
    return MAKE if queries.is_factor_asked(user) else DONE


def _where(request: HttpRequest | None) -> dict[str, Any]:
    if request is None:
        return {}
    browser = request.headers.get("User-Agent", "")[:BROWSER_LENGTH_MAX]
    # PostgreSQL takes no NUL in a text.
    return {"address": visitors.address_or_none(request), "browser": browser.replace("\x00", "")}


def noted(request: HttpRequest, what: str) -> None:
    """Keep what the person of this request did at the door."""
    signins.note(what=what, user=person(request), at=timezone.now(), **_where(request))


def person(request: HttpRequest) -> User:
    """Who is signed in, on a page that asked for it."""
    return cast("User", request.user)


def is_proved(request: HttpRequest) -> bool:
    """Whether a factor was shown since signing in, and is in use still."""
    return bool(cast("Any", request.user).is_verified())


@receiver(user_logged_in, dispatch_uid="hingeback-entered")
def _entered(request: HttpRequest, user: User, **_signal: object) -> None:
    now = timezone.now()
    where = _where(request)
    request.session[ENTRY] = kept.entry(at=now, **{"address": None, "browser": "", **where})
    request.session[SECOND] = _needed(request, user)
    now_sure(request)
    signins.note(what=What.ENTERED, user=user, at=now, **where)


@receiver(user_logged_out, dispatch_uid="hingeback-left")
def _left(request: HttpRequest, user: User | None, **_signal: object) -> None:
    if user is not None:
        signins.note(what=What.LEFT, user=user, at=timezone.now(), **_where(request))


@receiver(user_login_failed, dispatch_uid="hingeback-wrong-password")
def _wrong(
    credentials: dict[str, Any], request: HttpRequest | None = None, **_signal: object
) -> None:
    _of_name(credentials.get("username"), What.WRONG_PASSWORD, request)


@receiver(user_locked_out, dispatch_uid="hingeback-slowed")
def _slowed(
    username: str | None = None, request: HttpRequest | None = None, **_signal: object
) -> None:
    # Axes counts under the name and the mark of the browser.
    _of_name((username or "").partition(" ")[0], What.SLOWED, request)


def _of_name(name: Any, what: str, request: HttpRequest | None) -> None:
    user = User.objects.filter(username=name).first() if _is_name(name) else None
    signins.note(what=what, user=user, at=timezone.now(), **_where(request))


def _is_name(name: Any) -> bool:
    return isinstance(name, str) and "\x00" not in name
