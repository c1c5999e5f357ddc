"""The entrance: signing in and out, the desk by role, the language, and the error pages."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.test import Client, RequestFactory, override_settings
from django.urls import include, path
from django.utils import translation
from django.views import defaults

from inventory.errors import MonthNotReady, NotFound
from inventory.masters import queries as practice
from inventory.models import Workshop
from inventory.staff.pages import desk
from tests import makers

pytestmark = pytest.mark.django_db


def refuse(request: HttpRequest) -> HttpResponse:
    raise MonthNotReady("Close refused.", reasons=["a box is on hold", "<b>raw</b>"])


def miss(request: HttpRequest) -> HttpResponse:
    raise NotFound


def forbid(request: HttpRequest) -> HttpResponse:
    raise PermissionDenied


def crash(request: HttpRequest) -> HttpResponse:
    raise RuntimeError("a fault")


urlpatterns = [
    path("", include("deploy.urls")),
    path("try/refuse/", refuse),
    path("try/miss/", miss),
    path("try/forbid/", forbid),
    path("try/crash/", crash),
    path("try/go/", miss, name="go"),
]


def text(answer: Any) -> str:
    return str(answer.content.decode())


def test_the_right_password_opens_the_desk(client: Client, bea: User) -> None:
    answer = client.post("/enter/", {"username": "bea", "password": makers.PASSWORD})
    assert answer.status_code == 302
    assert answer["Location"] == "/desk/"


def test_after_signing_in_one_comes_back_to_the_page_asked_for(client: Client, bea: User) -> None:
    wanted = client.get("/desk/")
    assert wanted["Location"] == "/enter/?next=/desk/"
    page = text(client.get("/enter/?next=/enter/password/"))
    assert '<input type="hidden" name="next" value="/enter/password/">' in page
    facts = {"username": "bea", "password": makers.PASSWORD, "next": "/enter/password/"}
    assert client.post("/enter/", facts)["Location"] == "/enter/password/"


def test_a_foreign_address_is_never_followed_after_signing_in(client: Client, bea: User) -> None:
    facts = {"username": "bea", "password": makers.PASSWORD, "next": "https://example.org/"}
    assert client.post("/enter/", facts)["Location"] == "/desk/"


def test_a_wrong_password_is_said_in_the_summary(client: Client, bea: User) -> None:
    answer = client.post("/enter/", {"username": "bea", "password": "wrong"})
    assert answer.status_code == 200
    assert 'role="alert"' in text(answer)
    assert "correct" in text(answer)


def test_too_many_wrong_passwords_lock_the_name_for_a_while(
    client: Client, bea: User, settings: Any
) -> None:
    limit = settings.AXES_FAILURE_LIMIT
    answers = [
        client.post("/enter/", {"username": "bea", "password": f"wrong {turn}"})
        for turn in range(limit)
    ]
    assert [answer.status_code for answer in answers[:-1]] == [200] * (limit - 1)
    assert answers[-1].status_code == 429
    assert "Too many tries" in text(answers[-1])
    right = client.post("/enter/", {"username": "bea", "password": makers.PASSWORD})
    assert right.status_code == 429


def test_one_locked_name_leaves_the_others_free(client: Client, bea: User, acke: User) -> None:
    for turn in range(9):
        client.post("/enter/", {"username": "bea", "password": f"wrong {turn}"})
    answer = client.post("/enter/", {"username": "acke", "password": makers.PASSWORD})
    assert answer["Location"] == "/desk/"


def test_leaving_takes_a_post(client: Client, bea: User) -> None:
    client.force_login(bea)
    assert client.get("/leave/").status_code == 405
    assert client.get("/desk/").status_code == 200
    assert client.post("/leave/").status_code == 302
    assert client.get("/desk/").status_code == 302


def test_a_new_password_is_set_and_said(client: Client, bea: User) -> None:
    client.force_login(bea)
    fresh = "another-long-password-7"
    facts = {
        "old_password": makers.PASSWORD,
        "new_password1": fresh,
        "new_password2": fresh,
    }
    answer = client.post("/enter/password/", facts, follow=True)
    assert "Your new password is set." in text(answer)
    bea.refresh_from_db()
    assert bea.check_password(fresh)


@pytest.mark.parametrize(("length", "fits"), [(11, False), (12, True), (13, True)])
def test_a_new_password_has_at_least_twelve_characters(
    client: Client, bea: User, length: int, fits: bool
) -> None:
    client.force_login(bea)
    fresh = "kittiwakes-on-ledges"[:length]
    facts = {"old_password": makers.PASSWORD, "new_password1": fresh, "new_password2": fresh}
    answer = client.post("/enter/password/", facts)
    assert (answer.status_code == 302) is fits


def test_the_password_page_is_for_those_signed_in(client: Client) -> None:
    assert client.get("/enter/password/")["Location"].startswith("/enter/?next=")


def headings(client: Client) -> list[str]:
    return re.findall(r"<h2>([^<]+)</h2>", text(client.get("/desk/")))


def test_each_role_sees_its_own_room_on_the_desk(
    client: Client, bea: User, acke: User, olga: User
) -> None:
    for user, room in ((bea, "Bench"), (acke, "Accounts"), (olga, "Owner")):
        client.force_login(user)
        assert headings(client) == [room]


def test_several_roles_see_all_their_rooms(client: Client) -> None:
    client.force_login(makers.user("sam", "bench", "accountant", "owner"))
    assert headings(client) == ["Bench", "Accounts", "Owner"]


def test_somebody_without_a_role_is_told_whom_to_ask(client: Client) -> None:
    client.force_login(makers.user("nora"))
    assert "You have no role yet" in text(client.get("/desk/"))


def test_every_job_on_the_desk_leads_somewhere(client: Client) -> None:
    client.force_login(makers.user("sam", "bench", "accountant", "owner"))
    page = text(client.get("/desk/"))
    for jobs in desk._JOBS.values():
        for job in jobs:
            assert (f'href="{job.path}"' in page) is bool(job.path)


def test_the_desk_is_not_kept_by_a_shared_browser(client: Client, bea: User) -> None:
    client.force_login(bea)
    assert "no-store" in client.get("/desk/")["Cache-Control"]


def test_one_language_needs_no_switch(client: Client, settings: Any) -> None:
    settings.LANGUAGES = [("en", "English")]
    assert "/language/setlang/" not in text(client.get("/enter/"))


def test_the_language_switch_turns_the_page_and_its_lang(client: Client, settings: Any) -> None:
    settings.LANGUAGES = [("en", "English"), ("de", "German")]
    assert '<html lang="en">' in text(client.get("/enter/"))
    answer = client.post("/language/setlang/", {"language": "de", "next": "/enter/"})
    assert answer["Location"] == "/enter/"
    page = text(client.get("/enter/"))
    assert '<html lang="de">' in page
    assert re.search(r'value="de" lang="de" aria-current="true"', page)
    translation.activate("en")


def test_the_practice_banner_shows_only_with_invented_data(client: Client) -> None:
    banner = "Practice: everything here is invented"
    assert banner not in text(client.get("/enter/"))
    workshop = Workshop.the()
    workshop.demo = True
    workshop.name = "Tidewrack Frames"
    workshop.save()
    page = text(client.get("/enter/"))
    assert banner in page
    assert "<title>Practice · Staff entrance · Tidewrack Frames</title>" in page


def test_a_page_has_its_landmarks_and_a_skip_link(client: Client, olga: User) -> None:
    client.force_login(olga)
    page = text(client.get("/desk/"))
    assert page.index('href="#content"') < page.index("<header")
    assert page.count("<h1>") == 1
    assert page.count('<main id="content"') == 1
    assert '<nav class="doors" aria-label="Main">' in page
    assert 'href="/desk/" aria-current="page"' in page
    # The lost line, messages, a draft that waits, and what was scanned.
    assert page.count('role="status"') == 4


def test_ids_on_a_page_are_unique(client: Client, olga: User) -> None:
    client.force_login(olga)
    for address in ("/desk/", "/enter/password/"):
        ids = re.findall(r'\sid="([^"]+)"', text(client.get(address)))
        assert len(ids) == len(set(ids)), address


def test_pages_forbid_inline_scripts_and_ask_for_none(client: Client) -> None:
    answer = client.get("/enter/")
    policy = answer["Content-Security-Policy"]
    assert "unsafe-inline" not in policy
    assert "unsafe-eval" not in policy
    assert '"includeIndicatorStyles":false' in text(answer)
    assert '"allowEval":false' in text(answer)
    assert re.findall(r"<script(?![^>]*\ssrc=)", text(answer)) == []


def test_the_admin_door_shows_to_its_keepers_only(client: Client, olga: User) -> None:
    client.force_login(olga)
    assert 'href="/admin/"' not in text(client.get("/desk/"))
    olga.is_staff = True
    olga.save()
    assert 'href="/admin/"' in text(client.get("/desk/"))


@override_settings(ROOT_URLCONF=__name__)
def test_only_staff_get_the_code_search(client: Client, bea: User) -> None:
    assert 'role="search"' not in text(client.get("/enter/"))
    client.force_login(makers.user("nora"))
    assert 'role="search"' not in text(client.get("/desk/"))
    client.force_login(bea)
    page = text(client.get("/desk/"))
    assert 'role="search"' in page
    assert '<label class="visually-hidden" for="code-search">' in page
    assert '<input id="code-search" name="code"' in page


def test_leaving_clears_what_was_typed_in_this_browser(client: Client, bea: User) -> None:
    client.force_login(bea)
    assert 'action="/leave/" data-drop-drafts' in text(client.get("/desk/"))


def test_an_unknown_address_says_what_to_do(client: Client) -> None:
    answer = client.get("/no/such/page/")
    assert answer.status_code == 404
    assert "There is nothing at this address" in text(answer)


@override_settings(ROOT_URLCONF=__name__)
def test_a_wrong_role_gets_a_plain_page(client: Client, bea: User) -> None:
    client.force_login(bea)
    answer = client.get("/try/forbid/")
    assert answer.status_code == 403
    assert "ask the owner" in text(answer)
    assert 'href="/desk/">Back to the desk' in text(answer)


@override_settings(ROOT_URLCONF=__name__)
def test_a_stranger_who_is_refused_is_not_told_of_roles(client: Client) -> None:
    answer = client.get("/try/forbid/")
    assert answer.status_code == 403
    assert "private link" in text(answer)
    assert "role. If" not in text(answer)


@override_settings(ROOT_URLCONF=__name__)
def test_a_refusal_shows_its_reasons_escaped(client: Client) -> None:
    answer = client.get("/try/refuse/")
    assert answer.status_code == 409
    assert "Close refused." in text(answer)
    assert "<li>a box is on hold</li>" in text(answer)
    assert "&lt;b&gt;raw&lt;/b&gt;" in text(answer)
    assert "<code>month-not-ready</code>" in text(answer)


@override_settings(ROOT_URLCONF=__name__)
def test_a_missing_code_is_a_404_with_the_rules_words(client: Client) -> None:
    answer = client.get("/try/miss/")
    assert answer.status_code == 404
    assert "There is nothing under this code." in text(answer)


@override_settings(ROOT_URLCONF=__name__)
def test_a_fault_shows_a_page_that_needs_nothing_else(
    client: Client, django_assert_num_queries: Any
) -> None:
    client.raise_request_exception = False
    practice.is_on_lately()  # known for a minute
    with django_assert_num_queries(0):
        answer = client.get("/try/crash/")
    assert answer.status_code == 500
    assert "Something broke on our side" in text(answer)
    assert "a fault" not in text(answer)


def test_what_cannot_be_read_gets_a_page_that_needs_nothing_else(rf: RequestFactory) -> None:
    answer = defaults.bad_request(rf.get("/"), ValueError("odd"))
    assert answer.status_code == 400
    assert "We could not read what was sent" in text(answer)


def test_a_form_without_its_token_says_what_to_do(bea: User) -> None:
    strict = Client(enforce_csrf_checks=True)
    answer = strict.post("/enter/", {"username": "bea", "password": makers.PASSWORD})
    assert answer.status_code == 403
    assert "Please send it once more" in text(answer)
    assert "data-hold-drafts" in text(answer)


def test_somebody_signed_in_is_led_past_the_entrance(client: Client, bea: User) -> None:
    client.force_login(bea)
    assert client.get("/enter/")["Location"] == "/desk/"
