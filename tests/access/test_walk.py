"""Walks every address as every caller and holds the answers against the one table."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import pytest
from django.conf import settings
from django.contrib.auth.models import User
from django.db import transaction
from django.http import HttpResponse
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver

from tests.access.table import CALLERS, NOBODY, PREFIXES, TABLE, Row
from tests.api.callers import PROBLEM

METHODS = ("GET", "POST")
NEVER_TAKEN = ("PUT", "PATCH", "DELETE")
_ARGUMENT = re.compile(r"<(?:\w+:)?(\w+)>")


def routes(resolver: URLResolver | None = None, before: str = "") -> Iterator[str]:
    """Every URL pattern of the service, as written."""
    for found in (resolver or get_resolver()).url_patterns:
        route = before + str(found.pattern)
        if isinstance(found, URLPattern):
            yield route
        else:
            yield from routes(found, route)


def folded(route: str) -> str:
    """The row's route: addresses of the framework's own are one row a prefix."""
    return next((prefix for prefix in PREFIXES if route.startswith(prefix)), route)


def test_the_table_has_every_address_once_and_no_other() -> None:
    listed = [row.route for row in TABLE]
    assert sorted(listed) == sorted(set(listed))
    assert set(listed) == {folded(route) for route in routes()}


def test_the_table_lets_the_owner_in_wherever_another_role_gets() -> None:
    for row in TABLE:
        for method in ("GET", "POST"):
            allowed = row.callers(method)
            assert not allowed or "owner" in allowed, row


def address(row: Row, arguments: dict[str, str]) -> str:
    """A path under a row's route."""
    if row.route == "language/":
        return "/language/setlang/"

    def filled(match: re.Match[str]) -> str:
        noun = row.route[: match.start()].rstrip("/").rpartition("/")[2]
        name = match[1]
        return arguments.get(f"{noun}/{name}") or arguments.get(name) or "none"

    return "/" + _ARGUMENT.sub(filled, row.route).replace("^.*$", "no-such-address/")


def entered(user: User | None) -> str:
    """The id of a session that a person has just begun; empty for nobody."""
    if user is None:
        return ""
    client = Client()
    client.force_login(user)
    return client.cookies[settings.SESSION_COOKIE_NAME].value


def ask(session: str, row: Row, method: str, path: str) -> HttpResponse:
    """One request of a browser that knows only its session; what it changed is taken back."""
    client = Client(raise_request_exception=False)
    if session:
        client.cookies[settings.SESSION_COOKIE_NAME] = session
    sent: dict[str, Any] = {}
    if row.is_api and method != "GET":
        sent = {
            "data": "{}",
            "content_type": "application/json",
            "headers": {"Idempotency-Key": "walk-walk-walk"},
        }
    with transaction.atomic():
        answer: HttpResponse = (
            client.generic(method, path, **sent)
            if sent
            else client.generic(method, path, content_type="application/x-www-form-urlencoded")
        )
        transaction.set_rollback(True)
    return answer


def is_sent_to_sign_in(answer: HttpResponse) -> bool:
    return answer.status_code == 302 and answer.headers["Location"].startswith("/enter/?next=")


def slip(row: Row, method: str, caller: str, answer: HttpResponse) -> str:
    """What is wrong about an answer; empty when the door held or opened as the table says."""
    status = answer.status_code
    if status >= 500:
        return "failed"
    if caller in row.callers(method):
        refused = status in (401, 403, 405) or is_sent_to_sign_in(answer)
        return "refused, and should be let in" if refused else ""
    if not row.callers(method):
        # A page may well show itself for any method, but to no more people.
        passes = status < 300 and caller not in row.get | row.post
        return "taken, and should not be" if passes else ""
    if row.is_api:
        wanted = 401 if caller == NOBODY else 403
        held = status == wanted and answer.headers["Content-Type"] == PROBLEM
        return "" if held else f"should be a problem with {wanted}"
    held = is_sent_to_sign_in(answer) if caller == NOBODY else status == 403
    return "" if held else "let in, or turned away in another way"


@pytest.mark.parametrize("api", [False, True], ids=["pages", "api"])
@pytest.mark.parametrize("caller", CALLERS)
def test_every_address_holds_its_door_against_this_caller(
    caller: str, api: bool, people: dict[str, User], arguments: dict[str, str]
) -> None:
    wrong = []
    session = entered(people.get(caller))
    for row in (row for row in TABLE if row.is_api == api):
        path = address(row, arguments)
        for method in METHODS:
            answer = ask(session, row, method, path)
            if found := slip(row, method, caller, answer):
                wrong.append(f"{caller} {method} {path}: {answer.status_code} {found}")
    assert not wrong, "\n".join(wrong)


def test_no_address_opens_to_nobody_by_a_method_that_the_table_does_not_know(
    arguments: dict[str, str],
) -> None:
    for row in TABLE:
        path = address(row, arguments)
        for method in NEVER_TAKEN:
            assert slip(row, method, NOBODY, ask("", row, method, path)) == "", path


def test_the_walk_can_fail(bea: User) -> None:
    """The same questions, against rows that say the opposite of what is so."""
    closed = Row("owner/", get=frozenset({"bench"}))
    session = entered(bea)
    answer = ask(session, closed, "GET", "/owner/")
    assert slip(closed, "GET", "bench", answer)
    open_to_all = Row("notice/", get=frozenset({"owner"}))
    assert slip(open_to_all, "GET", "bench", ask(session, open_to_all, "GET", "/notice/"))
    assert slip(open_to_all, "GET", NOBODY, ask("", open_to_all, "GET", "/notice/"))
    parcels = Row("api/parcels/", post=frozenset({"accountant"}))
    assert slip(parcels, "POST", "bench", ask(session, parcels, "POST", "/api/parcels/"))


def admin_routes() -> list[str]:
    """The admin's addresses without arguments: its lists and its forms for adding."""
    return sorted(
        {
            f"/{route}"
            for route in routes()
            if route.startswith("admin/") and "<" not in route and "(" not in route
        }
    )


@pytest.mark.parametrize("who", ["nobody", "bea", "acke", "olga"])
def test_the_admin_lets_in_nobody_without_the_staff_flag(
    who: str, bea: User, acke: User, olga: User
) -> None:
    client = Client()
    if who != "nobody":
        client.force_login({"bea": bea, "acke": acke, "olga": olga}[who])
    for path in admin_routes():
        if path in ("/admin/login/", "/admin/logout/", "/admin/jsi18n/"):
            continue
        answer = client.get(path)
        assert answer.status_code == 302, path
        # The framework's page for passwords is not there: ours counts wrong old ones.
        ours = path == "/admin/password_change/"
        where = "/enter/password/" if ours else "/admin/login/"
        assert answer.headers["Location"].startswith(where), path


def test_the_admin_shows_tables_to_the_owner_and_none_to_a_bench_hand_with_the_flag(
    olga: User, bea: User
) -> None:
    User.objects.filter(pk__in=[olga.pk, bea.pk]).update(is_staff=True)
    for user, status in ((olga, 200), (bea, 403)):
        client = Client()
        client.force_login(user)
        assert client.get("/admin/inventory/movement/").status_code == status
        assert client.get("/admin/auth/user/").status_code == status
        assert client.get("/admin/inventory/movement/add/").status_code == 403


def test_a_user_who_is_switched_off_is_nobody(bea: User) -> None:
    client = Client()
    client.force_login(bea)
    User.objects.filter(pk=bea.pk).update(is_active=False)
    assert is_sent_to_sign_in(client.get("/bench/"))
    assert client.get("/api/frames/").status_code == 401
