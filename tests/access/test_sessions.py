"""Where people are signed in and what happened at the door: seen, ended, and forgotten in time."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
import time_machine
from django.conf import settings as live
from django.contrib.auth.models import User
from django.test import Client
from django.utils import timezone
from django_otp.oath import TOTP
from django_otp.plugins.otp_totp.models import TOTPDevice

from inventory.models import OpenSession, SignIn
from inventory.staff.rules import signins
from tests.makers import NOON, PASSWORD

pytestmark = pytest.mark.django_db
What = SignIn.What
TABLET, PHONE = "203.0.113.7", "203.0.113.8"


def entered(name: str, address: str = TABLET, browser: str = "Bench tablet") -> Client:
    client = Client(REMOTE_ADDR=address, HTTP_USER_AGENT=browser)
    client.post("/enter/", {"username": name, "password": PASSWORD})
    return client


def test_a_person_sees_where_they_are_signed_in_and_ends_one(bea: User) -> None:
    tablet, phone = entered("bea"), entered("bea", PHONE, "A phone")
    page = phone.get("/own/").content.decode()
    assert "Bench tablet" in page
    assert TABLET in page
    assert tablet.get("/bench/").status_code == 200
    there = OpenSession.objects.get(address=TABLET)
    assert there.session_key not in page
    assert phone.post(f"/own/session/{there.handle}/end/").status_code == 302
    assert tablet.get("/bench/").headers["Location"].startswith("/enter/")
    assert phone.get("/bench/").status_code == 200
    assert phone.post(f"/own/session/{there.handle}/end/").status_code == 404


def test_nobody_ends_another_persons_session_but_the_owner(
    bea: User, ben: User, olga: User
) -> None:
    tablet = entered("bea")
    handle = OpenSession.objects.get(user=bea).handle
    assert entered("ben").post(f"/own/session/{handle}/end/").status_code == 404
    owner = entered("olga")
    assert owner.post(f"/owner/people/{ben.pk}/session/{handle}/end/").status_code == 404
    assert handle in owner.get(f"/owner/people/{bea.pk}/").content.decode()
    assert owner.post(f"/owner/people/{bea.pk}/session/{handle}/end/").status_code == 302
    assert tablet.get("/bench/").status_code == 302


def test_the_owner_reads_what_happened_at_the_door(bea: User, olga: User) -> None:
    for password in ("wrong", PASSWORD):
        client = Client(REMOTE_ADDR=PHONE, HTTP_USER_AGENT="A phone")
        client.post("/enter/", {"username": "bea", "password": password})
    client.post("/leave/")
    whats = list(SignIn.objects.filter(user=bea).order_by("pk").values_list("what", flat=True))
    assert whats == [What.WRONG_PASSWORD, What.ENTERED, What.LEFT]
    page = entered("olga").get(f"/owner/people/{bea.pk}/").content.decode()
    for words in ("wrong password", "signed out", PHONE):
        assert words in page


def test_a_password_typed_as_a_name_is_kept_nowhere(bea: User) -> None:
    Client().post("/enter/", {"username": PASSWORD, "password": "x"})
    assert PASSWORD not in str(list(SignIn.objects.values()))
    assert SignIn.objects.get().user is None


@pytest.mark.parametrize(("late_s", "is_in"), [(-1, True), (1, False)])
def test_a_session_ends_when_it_is_not_used(bea: User, late_s: int, *, is_in: bool) -> None:
    client = entered("bea")
    idle = timedelta(minutes=live.SESSION_IDLE_MINUTES, seconds=late_s)
    with time_machine.travel(NOON + idle, tick=False):
        assert (client.get("/bench/").status_code == 200) is is_in
    assert OpenSession.objects.filter(user=bea).exists() is is_in


def test_a_session_that_is_used_ends_all_the_same(bea: User) -> None:
    client = entered("bea")
    hours = live.SESSION_COOKIE_AGE // 3600
    for hour in range(1, hours):
        with time_machine.travel(NOON + timedelta(hours=hour), tick=False):
            assert client.get("/bench/").status_code == 200, hour
    with time_machine.travel(NOON + timedelta(hours=hours, seconds=1), tick=False):
        assert client.get("/bench/").status_code == 302


def test_a_new_password_leaves_no_session_in_the_list(bea: User) -> None:
    other, here = entered("bea"), entered("bea", PHONE)
    own = "teal on the salt marsh"
    form = {"old_password": PASSWORD, "new_password1": own, "new_password2": own}
    here.post("/enter/password/", form)
    assert other.get("/bench/").status_code == 302
    assert [one.address for one in OpenSession.objects.filter(user=bea)] == [PHONE]


@pytest.mark.parametrize(("days", "is_known"), [(-1, True), (1, False)])
def test_the_nightly_task_forgets_addresses(bea: User, days: int, *, is_known: bool) -> None:
    entered("bea")
    signins.prune(NOON + timedelta(days=live.ADDRESS_DAYS + days))
    row = SignIn.objects.get()
    assert (row.address == TABLET) is is_known
    assert bool(row.browser) is is_known
    signins.prune(NOON + signins.KEPT_FOR + timedelta(days=1))
    assert not SignIn.objects.exists()


def test_a_browser_that_names_itself_strangely_breaks_nothing(bea: User, settings: Any) -> None:
    client = entered("bea", "not-an-address", "x\x00" * 600 + "<script>")
    assert client.get("/own/").status_code == 200


def test_each_proof_gives_a_new_key(bea: User) -> None:
    client = Client()
    client.get("/enter/")
    client.cookies[live.SESSION_COOKIE_NAME] = "chosen-by-somebody-else-0123456789"
    client.post("/enter/", {"username": "bea", "password": PASSWORD})
    after_password = client.cookies[live.SESSION_COOKIE_NAME].value
    assert after_password != "chosen-by-somebody-else-0123456789"
    client.post("/leave/")
    device = TOTPDevice.objects.create(user=bea, name="app", confirmed=True)
    client.post("/enter/", {"username": "bea", "password": PASSWORD})
    before = client.cookies[live.SESSION_COOKIE_NAME].value
    totp = TOTP(device.bin_key, device.step, device.t0, device.digits)
    totp.time = timezone.now().timestamp()
    client.post("/enter/second/", {"code": f"{totp.token():06d}"})
    assert client.cookies[live.SESSION_COOKIE_NAME].value != before
    assert client.get("/bench/").status_code == 200


def test_a_key_that_was_signed_out_opens_nothing(bea: User) -> None:
    client = entered("bea")
    key = client.cookies[live.SESSION_COOKIE_NAME].value
    client.post("/leave/")
    thief = Client()
    thief.cookies[live.SESSION_COOKIE_NAME] = key
    assert thief.get("/bench/").headers["Location"].startswith("/enter/")


def test_a_refusal_is_logged_with_who_and_where(
    bea: User, caplog: pytest.LogCaptureFixture
) -> None:
    client = entered("bea")
    assert client.get("/owner/people/").status_code == 403
    told = [one.msg for one in caplog.records if isinstance(one.msg, dict)]
    refused = [one for one in told if one.get("code") == 403]
    assert [(one["user_id"], one["request"]) for one in refused] == [(bea.pk, "GET /owner/people/")]
