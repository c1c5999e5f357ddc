"""A password that the owner made lets its person in once, to set one of their own."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.test import Client

from inventory.models import GivenPassword
from inventory.staff.rules import staff
from tests.makers import NOON, key

pytestmark = pytest.mark.django_db
OWN = "teal on the salt marsh"


@pytest.fixture
def given(olga: User) -> str:
    _person, password = staff.hire(
        key=key(), name="ida", first_name="Ida", role="bench", at=NOON, by=olga
    )
    return password


def enter(password: str, client: Client | None = None) -> Any:
    client = client or Client()
    return client.post("/enter/", {"username": "ida", "password": password})


def test_every_page_leads_to_a_new_password_until_there_is_one(given: str) -> None:
    client = Client()
    assert enter(given, client).headers["Location"] == "/enter/password/"
    for path in ("/desk/", "/bench/", "/api/frames/", "/find/"):
        assert client.get(path).headers["Location"] == "/enter/password/"
    assert "Leave it as it is" not in client.get("/enter/password/").content.decode()
    form = {"old_password": given, "new_password1": OWN, "new_password2": OWN}
    assert client.post("/enter/password/", form).status_code == 302
    assert client.get("/bench/").status_code == 200
    assert not GivenPassword.objects.exists()
    assert enter(OWN).headers["Location"] == "/desk/"


def test_it_works_once_and_a_new_one_can_be_given(given: str, olga: User) -> None:
    assert enter(given).status_code == 302
    again = enter(given)
    assert again.status_code == 200
    assert "used already" in again.content.decode()
    ida = User.objects.get(username="ida")
    _ida, renewed = staff.renew_password(key=key(), number=ida.pk, at=NOON, by=olga)
    assert enter(renewed).status_code == 302


@pytest.mark.parametrize(("late", "is_open"), [(-1, True), (0, False), (1, False)])
def test_it_waits_a_week(given: str, late: int, *, is_open: bool) -> None:
    at = NOON + staff.GIVEN_FOR + timedelta(seconds=late)
    ida = User.objects.get(username="ida")
    if is_open:
        assert staff.use(person=ida, at=at)
    else:
        with pytest.raises(staff.Conflict):
            staff.use(person=ida, at=at)


def test_a_password_set_by_command_is_no_first_one(given: str) -> None:
    ida = User.objects.get(username="ida")
    ida.set_password(OWN)
    ida.save()
    assert enter(OWN).headers["Location"] == "/desk/"


def test_the_admin_has_no_door_of_its_own() -> None:
    assert Client().get("/admin/login/?next=/admin/").headers["Location"] == "/enter/?next=/admin/"
