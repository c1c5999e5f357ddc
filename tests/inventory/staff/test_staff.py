"""The first owner, and the logins that owners make."""

from __future__ import annotations

import io
import re
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.core.management import CommandError, call_command
from django.test import Client

from inventory.errors import BadInput, Conflict, Forbidden, KeyReused, NotFound
from inventory.models import Event, Workshop
from inventory.staff.rules import staff
from tests.makers import NOON, PASSWORD, key

pytestmark = pytest.mark.django_db


def first_owner(*words: str) -> str:
    out = io.StringIO()
    call_command("firstowner", *words, stdout=out)
    return out.getvalue()


def path_in(data: str) -> str:
    match = re.search(r"http\S+?(/enter/first/\S+)", data)
    assert match is not None
    return match[1]


def set_password(client: Client, path: str, text: str = "saltmarsh-lantern-42") -> Any:
    form = client.get(path)
    if form.status_code != 302:
        return form
    return client.post(form.headers["Location"], {"new_password1": text, "new_password2": text})


def test_the_printed_link_sets_the_password_once_and_signs_in(client: Client) -> None:
    path = path_in(first_owner("--name", "olga"))
    answer = set_password(client, path)
    assert answer.status_code == 302
    assert answer.headers["Location"] == "/owner/setup/"
    assert client.get("/owner/setup/").status_code == 200
    again = set_password(Client(), path)
    assert again.status_code == 200
    assert "This link opens nothing any more" in again.content.decode()
    olga = User.objects.get(username="olga")
    assert olga.check_password("saltmarsh-lantern-42")
    assert (olga.is_staff, olga.is_superuser) == (True, False)


@pytest.mark.parametrize("text", ["short", "739182640517", "password1234"])
def test_the_link_refuses_a_weak_password_and_stays_good(client: Client, text: str) -> None:
    path = path_in(first_owner())
    assert set_password(client, path, text).status_code == 200
    assert set_password(Client(), path).status_code == 302


def test_a_second_link_makes_the_first_one_void() -> None:
    early, late = path_in(first_owner()), path_in(first_owner())
    assert set_password(Client(), early).status_code == 200
    assert set_password(Client(), late).status_code == 302
    assert User.objects.count() == 1


def test_nobody_becomes_first_owner_where_there_is_one(olga: User) -> None:
    with pytest.raises(CommandError, match="There is an owner already"):
        call_command("firstowner")
    assert first_owner("--once") == ""
    assert User.objects.count() == 1


def test_a_switched_off_owner_still_stands_in_the_way(olga: User) -> None:
    User.objects.update(is_active=False)
    with pytest.raises(CommandError, match="There is an owner already"):
        call_command("firstowner")


def test_practice_data_gets_no_first_owner() -> None:
    Workshop.the()
    Workshop.objects.update(demo=True)
    with pytest.raises(CommandError, match="practice installation"):
        call_command("firstowner")
    assert not User.objects.exists()


def test_a_bad_login_name_is_said() -> None:
    with pytest.raises(CommandError, match="no blanks"):
        call_command("firstowner", "--name", "the owner")


def hired(olga: User, name: str = "bea", role: str = "bench") -> tuple[User, str]:
    return staff.hire(key=key(), name=name, first_name="Bea", role=role, at=NOON, by=olga)


@pytest.mark.parametrize("role", staff.ROLES)
def test_a_login_has_its_role_and_a_password_that_opens(olga: User, role: str) -> None:
    person, password = hired(olga, role=role)
    assert [group.name for group in person.groups.all()] == [role]
    assert person.is_staff is (role == "owner")
    assert re.fullmatch(r"([a-km-z2-9]{4}-){3}[a-km-z2-9]{4}", password)
    assert person.check_password(password)


def test_a_repeat_makes_no_second_login_and_tells_no_password(olga: User) -> None:
    once = key()
    facts: dict[str, Any] = {"first_name": "", "role": "bench", "at": NOON, "by": olga}
    staff.hire(key=once, name="bea", **facts)
    with pytest.raises(Conflict, match="was made already"):
        staff.hire(key=once, name="bea", **facts)
    with pytest.raises(KeyReused):
        staff.hire(key=once, name="ben", **facts)
    assert User.objects.count() == 2


@pytest.mark.parametrize(
    ("name", "role", "field"),
    [
        ("", "bench", "name"),
        ("x" * 41, "bench", "name"),
        ("a b", "bench", "name"),
        ("Olga", "bench", "name"),
        ("bea", "king", "role"),
    ],
)
def test_what_will_not_do_for_a_login_is_named(
    olga: User, name: str, role: str, field: str
) -> None:
    with pytest.raises(BadInput) as refused:
        hired(olga, name, role)
    assert refused.value.field == field
    assert User.objects.count() == 1


def test_a_new_password_ends_the_old_one_and_the_sessions(olga: User, client: Client) -> None:
    person, old = hired(olga)
    client.force_login(person)
    assert client.get("/bench/").status_code == 200
    _person, new = staff.renew_password(key=key(), number=person.pk, at=NOON, by=olga)
    person.refresh_from_db()
    assert person.check_password(new)
    assert not person.check_password(old)
    assert client.get("/bench/").status_code == 302


def test_switching_off_shuts_the_door_at_once_and_on_opens_it(olga: User, client: Client) -> None:
    person, _password = hired(olga)
    client.force_login(person)
    once = key()
    for _ in range(2):
        staff.switch_off(key=once, number=person.pk, at=NOON, by=olga)
    assert client.get("/bench/").status_code == 302
    staff.switch_on(key=key(), number=person.pk, at=NOON, by=olga)
    client.force_login(person)
    assert client.get("/bench/").status_code == 200
    assert Event.objects.filter(name="staff.switch_off").count() == 1


def test_nobody_switches_themselves_off_or_touches_a_superuser(olga: User) -> None:
    with pytest.raises(Conflict):
        staff.switch_off(key=key(), number=olga.pk, at=NOON, by=olga)
    root = User.objects.create_superuser("root", password=PASSWORD)
    with pytest.raises(Forbidden):
        staff.renew_password(key=key(), number=root.pk, at=NOON, by=olga)
    with pytest.raises(NotFound):
        staff.switch_off(key=key(), number=10_000, at=NOON, by=olga)


def test_events_hold_no_name(olga: User) -> None:
    person, password = hired(olga, name="wilhelmina")
    staff.renew_password(key=key(), number=person.pk, at=NOON, by=olga)
    data = str(list(Event.objects.values_list("subject", "detail", "fingerprint")))
    assert "wilhelmina" not in data
    assert password not in data


def test_the_owners_page_shows_a_password_once(client: Client, olga: User) -> None:
    client.force_login(olga)
    facts = {"key": str(key()), "name": "bea", "first_name": "Bea", "role": "bench"}
    made = client.post("/owner/people/", facts)
    password = re.search(r'id="new-password">([^<]+)<', made.content.decode())
    assert password is not None
    bea = User.objects.get(username="bea")
    assert bea.check_password(password[1])
    assert password[1] not in client.get("/owner/people/").content.decode()
    repeated = client.post("/owner/people/", facts)
    assert repeated.status_code == 400
    assert "was made already" in repeated.content.decode()
    assert client.post(f"/owner/people/{bea.pk}/off/").status_code == 302
    assert "switched off" in client.get("/owner/people/").content.decode()
    assert client.post(f"/owner/people/{bea.pk}/on/").status_code == 302
    renewed = client.post(f"/owner/people/{bea.pk}/password/").content.decode()
    assert 'id="new-password"' in renewed
    assert client.post(f"/owner/people/{olga.pk}/off/").status_code == 409
