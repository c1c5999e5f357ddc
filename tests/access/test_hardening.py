"""What protects the doors: headers, hashes, lock-out, cookies, and logs that keep secrets."""

from __future__ import annotations

import io
import json
import logging
import logging.config
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings as live
from django.contrib.auth.models import User
from django.test import Client

from inventory.models import Event, RequestKey
from returns.filing.rules import intake
from tests import makers
from tests.api.callers import Caller, machine
from tests.makers import NOON, PASSWORD, Shop
from tests.returns import customer_makers as customers

ROOT = Path(__file__).resolve().parents[2]
# What conftest puts in place of the hashers for speed; the settings module has the real ones.
REAL_HASHERS = "from deploy import settings; print(settings.PASSWORD_HASHERS[0])"


def policy(header: str) -> dict[str, list[str]]:
    """A Content Security Policy as directive to sources."""
    parts = [part.split() for part in header.split(";") if part.strip()]
    return {name: sources for name, *sources in parts}


@pytest.mark.django_db
@pytest.mark.parametrize(
    "path",
    ["/", "/notice/", "/enter/", "/find/", "/story/none/", "/none/", "/api/docs/", "/api/problems/",
     "/api/frames/", "/api/schema/", "/alive/", "/admin/login/"],
)  # fmt: skip
def test_every_answer_carries_the_headers_that_protect_it(path: str) -> None:
    headers = Client().get(path).headers
    csp = policy(headers["Content-Security-Policy"])
    assert csp["default-src"] == ["'none'"]
    assert csp["frame-ancestors"] == ["'none'"]
    assert csp["base-uri"] == ["'none'"]
    assert csp["object-src"] == ["'none'"]
    assert csp["form-action"] == ["'self'"]
    for directive in ("script-src", "style-src"):
        assert not {"'unsafe-inline'", "'unsafe-eval'", "*", "https:"} & set(csp[directive])
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["X-Frame-Options"] == "DENY"
    assert headers["Referrer-Policy"] in {"same-origin", "no-referrer"}
    assert headers["Cross-Origin-Opener-Policy"] == "same-origin"
    assert "geolocation=()" in headers["Permissions-Policy"]
    assert "microphone=()" in headers["Permissions-Policy"]


def test_staff_pages_and_api_answers_are_not_kept_by_anyone(bea: User, shop: Shop) -> None:
    client = Client()
    client.force_login(bea)
    for path in ("/bench/", "/bench/stock/", "/api/frames/", "/api/requests/"):
        assert "no-store" in client.get(path).headers["Cache-Control"], path


def test_argon2_is_what_new_passwords_are_hashed_with() -> None:
    assert settings_of(REAL_HASHERS).strip().endswith("Argon2PasswordHasher")


def test_a_new_password_is_long_and_not_a_common_one() -> None:
    from django.contrib.auth.password_validation import validate_password
    from django.core.exceptions import ValidationError

    for weak in ("short-pass1", "qwerty123456", "1q2w3e4r5t6y"):
        with pytest.raises(ValidationError):
            validate_password(weak)
    validate_password("heron over the mudflat")


def test_too_many_wrong_passwords_rest_and_another_name_goes_on(bea: User, ben: User) -> None:
    limit = live.AXES_FAILURE_LIMIT
    client = Client()
    wrong = {"username": "bea", "password": "not-the-password"}
    answers = [client.post("/enter/", wrong).status_code for _try in range(limit)]
    assert answers[: limit - 1] == [200] * (limit - 1)
    right = {"username": "bea", "password": PASSWORD}
    locked = client.post("/enter/", right)
    assert locked.status_code == 429
    assert "_auth_user_id" not in client.session
    other = client.post("/enter/", {"username": "ben", "password": PASSWORD})
    assert other.status_code == 302
    assert "_auth_user_id" in client.session


def test_one_try_below_the_limit_still_lets_the_right_password_in(bea: User) -> None:
    client = Client()
    for _try in range(live.AXES_FAILURE_LIMIT - 1):
        client.post("/enter/", {"username": "bea", "password": "not-the-password"})
    answer = client.post("/enter/", {"username": "bea", "password": PASSWORD})
    assert answer.status_code == 302
    assert "_auth_user_id" in client.session


def settings_of(program: str, **changes: str) -> str:
    """What a fresh process prints that reads the settings under another environment."""
    here = {name: text for name, text in os.environ.items() if not name.startswith("HINGEBACK_")}
    done = subprocess.run(
        [sys.executable, "-c", program],
        cwd=ROOT,
        env=here | {"HINGEBACK_DATA_DIR": os.environ.get("TMPDIR", "/tmp")} | changes,  # noqa: S108
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    return done.stdout or done.stderr


SERVED = {
    "HINGEBACK_SERVED": "1",
    "HINGEBACK_SECRET_KEY": "k" * 50,
    "HINGEBACK_DATABASE_URL": "postgresql://nobody@127.0.0.1:1/none",
    "HINGEBACK_REDIS_URL": "redis://127.0.0.1:1/0",
    "HINGEBACK_ALLOWED_HOSTS": "shop.example.org",
    "HINGEBACK_BASE_URL": "https://shop.example.org",
    "HINGEBACK_EMAIL_HOST": "mail.example.org",
    "HINGEBACK_FROM_EMAIL": "shop@example.org",
}
NAMES = (
    "SESSION_COOKIE_SECURE",
    "CSRF_COOKIE_SECURE",
    "SESSION_COOKIE_NAME",
    "CSRF_COOKIE_NAME",
    "SESSION_COOKIE_SAMESITE",
    "SESSION_COOKIE_HTTPONLY",
    "SECURE_SSL_REDIRECT",
    "SECURE_HSTS_SECONDS",
    "DEBUG",
)
SHOW = (
    "import os, json; os.environ['DJANGO_SETTINGS_MODULE'] = 'deploy.settings';"
    "from django.conf import settings as s;"
    f"print(json.dumps({{n: getattr(s, n) for n in {NAMES!r}}}))"
)


def test_a_served_installation_marks_its_cookies_and_stays_on_https(tmp_path: Path) -> None:
    shown: dict[str, Any] = json.loads(
        settings_of(SHOW, **SERVED, HINGEBACK_DATA_DIR=str(tmp_path))
    )
    assert shown["SESSION_COOKIE_SECURE"] is shown["CSRF_COOKIE_SECURE"] is True
    assert shown["SESSION_COOKIE_HTTPONLY"] is True
    assert shown["SESSION_COOKIE_SAMESITE"] == "Lax"
    assert shown["SESSION_COOKIE_NAME"].startswith("__Host-")
    assert shown["CSRF_COOKIE_NAME"].startswith("__Host-")
    assert shown["SECURE_SSL_REDIRECT"] is True
    assert shown["SECURE_HSTS_SECONDS"] >= 31_536_000
    assert shown["DEBUG"] is False


@pytest.mark.parametrize(
    "change",
    [
        {"HINGEBACK_SECRET_KEY": ""},
        {"HINGEBACK_SECRET_KEY": "k" * 39},
        {"HINGEBACK_DEBUG": "1"},
        {"HINGEBACK_DATABASE_URL": "sqlite:///x.sqlite3"},
        {"HINGEBACK_EMAIL_HOST": ""},
        {"HINGEBACK_FROM_EMAIL": ""},
        {"HINGEBACK_EMAIL_BACKEND": "django.core.mail.backends.console.EmailBackend"},
        {"HINGEBACK_EMAIL_USE_TLS": "1", "HINGEBACK_EMAIL_USE_SSL": "1"},
    ],
)
def test_a_served_installation_does_not_start_with_a_weak_setting(
    change: dict[str, str], tmp_path: Path
) -> None:
    data = settings_of(SHOW, **(SERVED | {"HINGEBACK_DATA_DIR": str(tmp_path)} | change))
    assert "ImproperlyConfigured" in data


@pytest.fixture
def console() -> Iterator[io.StringIO]:
    """What the service would print, every level, in the form that its settings give it."""
    config = logging.config.DictConfigurator(live.LOGGING)
    handler = logging.StreamHandler(io.StringIO())
    handler.setFormatter(config.configure_formatter(live.LOGGING["formatters"]["json"]))
    root = logging.getLogger()
    level = root.level
    root.addHandler(handler)
    root.setLevel("DEBUG")
    yield handler.stream
    root.setLevel(level)
    root.removeHandler(handler)


def test_no_secret_reaches_the_log(shop: Shop, bea: User, olga: User, console: io.StringIO) -> None:
    """Passwords, tokens, link secrets and names, sent in every way that a person might."""
    request = customers.sent_back(shop)
    secret = intake.link_secret(request)
    token = makers.token(olga, "read", at=NOON)
    browser = Client(raise_request_exception=False)
    browser.post("/enter/", {"username": "bea", "password": "wrong-secret-word"})
    browser.post("/enter/", {"username": "bea", "password": PASSWORD})
    browser.get(f"/story/{secret}/")
    browser.get(f"/story/{secret}/none/")
    Caller().get("story/", **{"Story-Secret": secret})
    Caller().post("story/withdrawals/", **{"Story-Secret": secret})
    Caller(token).get("frames/")
    Caller(token + "x").get("frames/")
    filing = {"name": "Wanda Reed", "street": "7 Towpath", "colourway": "none"}
    Caller().post("send-backs/", filing)
    data = console.getvalue()
    assert "/story/***" in data
    for hidden in (secret, token, "wrong-secret-word", PASSWORD, "Wanda", "Towpath"):
        assert hidden not in data, hidden


def test_no_secret_reaches_the_books(shop: Shop, bea: User) -> None:
    request = customers.sent_back(shop)
    machine(bea, "bench").post("parcels/", {"request": request.reference})
    data = str([*Event.objects.values_list("detail", "subject"), *RequestKey.objects.values()])
    for hidden in (intake.link_secret(request), "Wanda", "Towpath", "wanda@"):
        assert hidden not in data
