"""Wrong passwords slow the one who types them, whatever stands in front, and nobody else."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
import time_machine
from axes.models import AccessAttempt
from django.conf import settings as live
from django.contrib.auth.models import User
from django.test import Client, RequestFactory

from inventory.furniture import visitors
from tests.makers import NOON, PASSWORD

pytestmark = pytest.mark.django_db

OUTER, INNER = "198.51.100.9", "10.0.0.2"
STRANGER, HOME = "203.0.113.66", "192.0.2.55"


@pytest.fixture(params=[1, 2])
def proxies(request: pytest.FixtureRequest, settings: Any) -> int:
    settings.TRUSTED_PROXIES = request.param
    return int(request.param)


def through(proxies: int, visitor: str, forged: str = "") -> dict[str, str]:
    """What the service sees of a visitor behind so many proxies, each adding what it saw."""
    seen = [forged, visitor, *([OUTER] if proxies == 2 else [])]
    return {
        "REMOTE_ADDR": INNER,
        "HTTP_X_FORWARDED_FOR": ", ".join(hop for hop in seen if hop),
    }


WRONG = "not-the-password"


def tries(client: Client, password: str = WRONG, **where: str) -> int:
    form = {"username": "olga", "password": password}
    return client.post("/enter/", form, **where).status_code  # type: ignore[arg-type]


def lock(**where: str) -> None:
    client = Client()
    for _try in range(live.AXES_FAILURE_LIMIT):
        last = tries(client, **where)
    assert last == 429


def test_behind_proxies_a_stranger_locks_himself_and_never_the_owner(
    olga: User, proxies: int
) -> None:
    lock(**through(proxies, STRANGER))
    assert tries(Client(), PASSWORD, **through(proxies, STRANGER)) == 429
    assert tries(Client(), PASSWORD, **through(proxies, HOME)) == 302
    assert set(AccessAttempt.objects.values_list("ip_address", flat=True)) == {STRANGER}


def test_forged_headers_neither_free_the_stranger_nor_lock_somebody_else(
    olga: User, proxies: int
) -> None:
    """He names another address each time, and the owner's own."""
    client = Client()
    names = [HOME, "1.2.3.4", f"{HOME}, {HOME}", "<script>", "::1", "unknown", "1.1.1.1", HOME]
    for forged in names[: live.AXES_FAILURE_LIMIT]:
        tries(client, **through(proxies, STRANGER, forged))
    assert tries(client, PASSWORD, **through(proxies, STRANGER, "9.9.9.9")) == 429
    assert tries(Client(), PASSWORD, **through(proxies, HOME)) == 302


def test_without_a_proxy_the_header_is_not_believed(olga: User) -> None:
    client = Client()
    for number in range(live.AXES_FAILURE_LIMIT):
        tries(client, REMOTE_ADDR=STRANGER, HTTP_X_FORWARDED_FOR=f"192.0.2.{number}")
    assert tries(client, PASSWORD, REMOTE_ADDR=STRANGER) == 429


def test_the_owners_own_browser_opens_while_a_stranger_at_the_same_address_is_locked(
    olga: User,
) -> None:
    """As in an embedded workshop behind a proxy that nobody told of: everybody has one address."""
    browser = Client()
    assert tries(browser, PASSWORD) == 302
    browser.post("/leave/")
    lock()
    assert tries(Client(), PASSWORD) == 429
    assert tries(browser, PASSWORD) == 302


def test_a_known_browser_is_known_for_its_own_name_only_and_is_slowed_as_well(
    olga: User, ben: User
) -> None:
    bens = Client()
    bens.post("/enter/", {"username": "ben", "password": PASSWORD})
    bens.post("/leave/")
    lock()
    assert tries(bens, PASSWORD) == 429
    olgas = Client()
    with time_machine.travel(NOON + timedelta(minutes=6)):
        assert tries(olgas, PASSWORD) == 302
        olgas.post("/leave/")
        for _try in range(live.AXES_FAILURE_LIMIT):
            tries(olgas)
        assert tries(olgas, PASSWORD) == 429


def test_a_forged_mark_is_none(olga: User) -> None:
    client = Client()
    client.cookies[live.KNOWN_COOKIE_NAME] = "eyJuYW1lIjoib2xnYSIsIm1hcmsiOiJ4In0:1:x"
    lock()
    assert tries(client, PASSWORD) == 429


def test_the_rest_ends_after_five_minutes_however_often_one_tries_meanwhile(olga: User) -> None:
    lock()
    client = Client()
    for minute in range(1, 5):
        with time_machine.travel(NOON + timedelta(minutes=minute)):
            assert tries(client) == 429
    with time_machine.travel(NOON + timedelta(minutes=5, seconds=30)):
        assert tries(client, PASSWORD) == 302


@pytest.mark.parametrize("address", ["/enter/password/", "/admin/password_change/"])
def test_wrong_old_passwords_count_too(olga: User, address: str) -> None:
    client = Client()
    client.force_login(olga)
    new = "heron over the mudflat"
    form = {"old_password": "wrong", "new_password1": new, "new_password2": new}
    here = client.get(address, follow=True).wsgi_request.path
    answers = [client.post(here, form).status_code for _try in range(live.AXES_FAILURE_LIMIT)]
    assert answers[-1] == 429
    right = form | {"old_password": PASSWORD}
    assert client.post(here, right).status_code == 429
    with time_machine.travel(NOON + timedelta(minutes=6)):
        assert client.post(here, right).status_code == 302


@pytest.mark.parametrize(
    ("header", "count", "seen"),
    [
        ("198.51.100.7", 1, "198.51.100.7"),
        ("1.1.1.1, 198.51.100.7", 1, "198.51.100.7"),
        ("1.1.1.1, 198.51.100.7, 10.0.0.1", 2, "198.51.100.7"),
        ("198.51.100.7:4711", 1, "198.51.100.7"),
        ("[2001:db8:1:2::77]:4711", 1, "2001:db8:1:2::"),
        ("2001:db8:1:2:aaaa::1", 1, "2001:db8:1:2::"),
        ("::ffff:198.51.100.7", 1, "198.51.100.7"),
        ("198.51.100.7", 2, INNER),
        ("", 1, INNER),
        ("nonsense", 1, INNER),
        ("198.51.100.7", 0, INNER),
    ],
)
def test_address_is_what_the_outermost_trusted_proxy_saw(
    settings: Any, header: str, count: int, seen: str
) -> None:
    settings.TRUSTED_PROXIES = count
    where = {"REMOTE_ADDR": INNER, "HTTP_X_FORWARDED_FOR": header}
    assert visitors.address(RequestFactory().get("/", **where)) == seen  # type: ignore[arg-type]


def test_the_api_limits_by_the_same_address(
    client: Client, settings: Any, proxies: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    from inventory.furniture.api.throttles import VisitorThrottle

    monkeypatch.setattr(VisitorThrottle, "THROTTLE_RATES", {"file": "2/hour"})

    def filed(visitor: str, forged: str) -> int:
        where = through(proxies, visitor, forged)
        return client.post(
            "/api/send-backs/", "{}", content_type="application/json", **where
        ).status_code  # type: ignore[arg-type]

    answers = [filed(STRANGER, f"192.0.2.{number}") for number in range(3)]
    assert answers[-1] == 429
    assert filed(HOME, STRANGER) != 429
