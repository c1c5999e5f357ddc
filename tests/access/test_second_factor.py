"""A second factor is asked where it is due, shown once, slowed when guessed, and can be replaced.

Codes: RFC 6238 (TOTP, 2011), Appendix B, is tried in `tests/reference/test_one_time_codes.py`.
"""

from __future__ import annotations

import io
import re
from datetime import timedelta
from typing import Any

import pytest
import time_machine
from django.conf import settings as live
from django.contrib.auth.models import User
from django.core.management import CommandError, call_command
from django.test import Client
from django.utils import timezone
from django_otp.oath import TOTP
from django_otp.plugins.otp_totp.models import TOTPDevice

from inventory.models import Event, OpenSession, RecoverySheet, SignIn
from inventory.staff.rules import second, staff
from tests.makers import NOON, PASSWORD, key

pytestmark = pytest.mark.django_db
What = SignIn.What


def code_of(device: TOTPDevice) -> str:
    """What the person's app shows now."""
    totp = TOTP(device.bin_key, device.step, device.t0, device.digits)
    totp.time = timezone.now().timestamp()
    return f"{totp.token():06d}"


def with_app(user: User) -> TOTPDevice:
    device: TOTPDevice = TOTPDevice.objects.create(user=user, name="app", confirmed=True)
    return device


def entered(name: str, client: Client | None = None) -> Client:
    client = client or Client()
    answer = client.post("/enter/", {"username": name, "password": PASSWORD})
    assert answer.status_code == 302
    return client


def prove(client: Client, code: str, **more: str) -> Any:
    return client.post("/enter/second/", {"code": code, **more})


@pytest.fixture
def asked(settings: Any) -> None:
    settings.SECOND_FACTOR_ROLES = ["owner", "accountant"]


def test_a_password_alone_opens_nothing_once_there_is_a_factor(bea: User) -> None:
    device = with_app(bea)
    client = entered("bea")
    for path in ("/desk/", "/bench/", "/own/", "/admin/", "/owner/people/"):
        assert client.get(path).headers["Location"].startswith("/enter/second/?next="), path
    assert client.get("/api/frames/").status_code == 403
    assert client.post("/enter/passkey/make/").status_code == 302
    answer = prove(client, code_of(device))
    assert answer.headers["Location"] == "/desk/"
    assert client.get("/bench/").status_code == 200
    assert client.get("/api/frames/").status_code == 200


def test_the_way_leads_on_to_what_was_asked_for_and_to_no_other_house(bea: User) -> None:
    device = with_app(bea)
    client = entered("bea")
    page = client.get("/bench/arrivals/?x=1", follow=True).content.decode()
    assert 'name="next" value="/bench/arrivals/?x=1"' in page
    answer = prove(client, code_of(device), next="https://evil.example.org/")
    assert answer.headers["Location"] == "/desk/"


@pytest.mark.parametrize(("name", "goes_on"), [("olga", False), ("acke", False), ("bea", True)])
def test_owner_and_accountant_must_make_one_when_served(
    olga: User, acke: User, bea: User, asked: None, name: str, *, goes_on: bool
) -> None:
    client = entered(name)
    answer = client.get("/desk/")
    assert (answer.status_code == 200) is goes_on
    if goes_on:
        return
    assert answer.headers["Location"].startswith("/own/")
    assert "a second factor is needed" in client.get("/own/").content.decode()
    assert client.get("/api/months/").status_code == 403
    assert client.get("/own/app/").status_code == 200


def test_a_superuser_must_make_one_too(bea: User, asked: None) -> None:
    User.objects.filter(pk=bea.pk).update(is_superuser=True, is_staff=True)
    assert entered("bea").get("/admin/").headers["Location"].startswith("/own/")


def test_setting_an_app_up_leads_to_codes_and_on(olga: User, asked: None) -> None:
    client = entered("olga")
    other = entered("olga")
    page = client.get("/own/app/").content.decode()
    device = TOTPDevice.objects.get(user=olga)
    assert not device.confirmed
    assert "<svg" in page
    assert client.post("/own/app/", {"code": "000000"}).status_code == 400
    with time_machine.travel(NOON + timedelta(seconds=30)):
        answer = client.post("/own/app/", {"code": code_of(device)})
        assert answer.headers["Location"] == "/own/codes/"
        assert client.get("/desk/").status_code == 200
        codes = re.findall(
            r"<code>([a-z0-9-]{19})</code>", client.post("/own/codes/").content.decode()
        )
        assert len(set(codes)) == second.CODES
        # The other browser was signed in by the password alone.
        assert other.get("/desk/").headers["Location"].startswith("/enter/")
    stored = str(list(RecoverySheet.objects.values_list("hashes")))
    assert not any(code in stored or second.plain(code) in stored for code in codes)


def test_a_code_opens_once(bea: User) -> None:
    device = with_app(bea)
    code = code_of(device)
    assert prove(entered("bea"), code).status_code == 302
    again = prove(entered("bea"), code)
    assert again.status_code == 400
    assert "does not fit" in again.content.decode()


def test_a_recovery_code_opens_once_however_it_is_typed(bea: User) -> None:
    with_app(bea)
    codes = second.renew_codes(user=bea, at=NOON)
    assert prove(entered("bea"), f" {codes[0].upper().replace('-', ' ')} ").status_code == 302
    assert prove(entered("bea"), codes[0]).status_code == 400
    with time_machine.travel(NOON + timedelta(minutes=1)):
        assert prove(entered("bea"), codes[1]).status_code == 302
    assert len(RecoverySheet.objects.get().hashes) == second.CODES - 2
    second.renew_codes(user=bea, at=NOON)
    assert prove(entered("bea"), codes[2]).status_code == 400


def test_wrong_codes_slow_down_and_never_shut(bea: User) -> None:
    """Each wrong code doubles the wait; a right one that comes too soon is not taken."""
    device = with_app(bea)
    client = entered("bea")
    for _try in range(3):
        assert prove(client, "000000").status_code == 400
    assert prove(client, code_of(device)).status_code == 400
    with time_machine.travel(NOON + timedelta(seconds=40)):
        assert prove(client, code_of(device)).status_code == 302


def test_a_bench_tablet_is_trusted_for_a_while_and_an_owners_never(
    bea: User, olga: User, settings: Any
) -> None:
    device, olgas = with_app(bea), with_app(olga)
    tablet = entered("bea")
    assert prove(tablet, code_of(device), trust="on").status_code == 302
    tablet.post("/leave/")
    assert entered("bea", tablet).get("/bench/").status_code == 200
    assert entered("bea").get("/bench/").status_code == 302
    # What opens the door is not changed from a trusted browser that showed nothing.
    assert tablet.get("/own/app/").headers["Location"].startswith("/enter/second/")
    with time_machine.travel(NOON + timedelta(days=live.TRUST_DAYS, minutes=1)):
        assert entered("bea", tablet).get("/bench/").status_code == 302
    device.delete()
    with_app(bea)
    assert entered("bea", tablet).get("/bench/").status_code == 302
    assert "trust" not in entered("olga").get("/enter/second/").content.decode()
    browser = entered("olga")
    prove(browser, code_of(olgas), trust="on")
    browser.post("/leave/")
    assert entered("olga", browser).get("/desk/").status_code == 302


def test_the_password_is_asked_again_after_ten_minutes(bea: User) -> None:
    client = entered("bea")
    with time_machine.travel(NOON + timedelta(minutes=11)):
        assert client.get("/own/app/").headers["Location"] == "/own/sure/?next=%2Fown%2Fapp%2F"
        assert client.post("/own/sure/", {"password": "wrong"}).status_code == 400
        right = client.post("/own/sure/", {"password": PASSWORD, "next": "/own/app/"})
        assert right.headers["Location"] == "/own/app/"
        assert client.get("/own/app/").status_code == 200


def test_the_last_factor_stays_where_one_is_asked(olga: User, bea: User, asked: None) -> None:
    for user, status in ((olga, 409), (bea, 302)):
        device = with_app(user)
        client = entered(user.username)
        prove(client, code_of(device))
        answer = client.post(f"/own/factor/app/{device.pk}/out/")
        assert answer.status_code == status
        assert TOTPDevice.objects.filter(pk=device.pk).exists() is (status == 409)
    other = entered("bea")
    theirs = TOTPDevice.objects.get(user=olga)
    assert other.post(f"/own/factor/app/{theirs.pk}/out/").status_code == 404


def test_the_owner_takes_a_colleagues_lost_factor_away(bea: User, olga: User) -> None:
    with_app(bea)
    second.renew_codes(user=bea, at=NOON)
    client = Client()
    client.force_login(olga)
    sessions = OpenSession.objects.filter(user=bea)
    entered("bea")
    assert sessions.exists()
    assert "take all factors away" in client.get(f"/owner/people/{bea.pk}/").content.decode()
    form = {"key": str(key())}
    for _press in range(2):
        assert client.post(f"/owner/people/{bea.pk}/factor/", form).status_code == 302
    assert Event.objects.filter(name="staff.reset_factor").count() == 1
    assert not sessions.exists()
    assert entered("bea").get("/bench/").status_code == 200
    assert client.post(f"/owner/people/{olga.pk}/factor/").status_code == 409


def test_a_new_password_leaves_the_factor(bea: User, olga: User) -> None:
    with_app(bea)
    _bea, password = staff.renew_password(key=key(), number=bea.pk, at=NOON, by=olga)
    client = Client()
    client.post("/enter/", {"username": "bea", "password": password})
    assert client.get("/enter/password/").headers["Location"].startswith("/enter/second/")


def test_the_command_lets_the_only_owner_in_again(olga: User, asked: None) -> None:
    with_app(olga)
    out = io.StringIO()
    call_command("resetfactor", "olga", stdout=out)
    assert "by password alone" in out.getvalue()
    assert entered("olga").get("/desk/").headers["Location"].startswith("/own/")
    with pytest.raises(CommandError, match="Nobody"):
        call_command("resetfactor", "nobody")


BODIES = [
    "",
    "[]",
    "null",
    "{",
    '{"id": 5}',
    '{"id": "AA", "response": []}',
    "\xff\xfe",
    "[" * 9000,
]


@pytest.mark.parametrize("body", BODIES)
@pytest.mark.parametrize("address", ["made", "shown"])
def test_nonsense_at_the_passkeys_addresses_is_refused_in_words(
    bea: User, address: str, body: str
) -> None:
    client = Client()
    client.force_login(bea)
    client.post(f"/enter/passkey/{'make' if address == 'made' else 'show'}/")
    answer = client.post(
        f"/enter/passkey/{address}/", body.encode("latin-1"), content_type="application/json"
    )
    assert 400 <= answer.status_code < 500
    assert answer.json()["detail"]
