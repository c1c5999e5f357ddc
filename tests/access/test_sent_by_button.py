"""No form of a staff page that changes something is sent by Enter: only its own button sends it.

A form's default button is its first one; a disabled one stops the sending by Enter (HTML standard,
4.10.21.2), and where a browser looks on for an enabled one it finds one that sends nothing. Whether
the browser keeps to that, `tests/browser/test_scan_answers.py` shows, with and without scripts.
"""

from __future__ import annotations

import pytest
from django.contrib.auth.models import User
from django.test import Client
from lxml import html

from tests.access import staff_pages
from tests.makers import Shop

pytestmark = pytest.mark.django_db

# Whoever signs in or chooses a password may end with Enter: nothing is noted by it.
BY_ENTER = ("/enter/password/", "/own/sure/", "/own/app/", "/own/codes/")
_BUTTONS = ".//button[not(@type) or @type='submit'] | .//input[@type='submit' or @type='image']"


def unguarded(page: bytes) -> list[str]:
    """What the forms that change something send to, of those that Enter would send."""
    found = []
    for form in html.fromstring(page).iter("form"):
        if (form.get("method") or "get").lower() != "post" or form.get("id") == "password-form":
            continue
        buttons = form.xpath(_BUTTONS)[:2]
        guard = [(one.get("data-enter"), one.get("formmethod")) for one in buttons]
        is_off = bool(buttons) and buttons[0].get("disabled") is not None
        if guard != [("nothing", None), ("nothing", "dialog")] or not is_off:
            found.append(form.get("action") or "itself")
    return found


def test_no_form_of_a_staff_page_is_sent_by_enter(
    client: Client,
    shop: Shop,
    arguments: dict[str, str],
    bea: User,
    olga: User,
) -> None:
    client.force_login(olga)
    wrong, forms = [], 0
    places = staff_pages.addresses(shop, arguments, bea, olga)
    for route, paths in places.items():
        shown = 0
        for path in paths:
            answer = client.get(path, follow=True)
            shown += answer.status_code == 200
            forms += answer.content.count(b'method="post"')
            own = [] if path in BY_ENTER else unguarded(answer.content)
            wrong += [f"{path}: the form to {form}" for form in own]
        assert shown, f"{route} shows no page at {paths}"
    assert not wrong, "\n".join(wrong)
    assert (len(places), forms > 100) == (len(staff_pages.ROWS), True)


def test_a_form_without_the_guard_is_seen() -> None:
    off = '<button disabled data-enter="nothing"></button>'
    dialog = '<button formmethod="dialog" data-enter="nothing"></button>'
    form = '<form method="post">{}<button>Go</button></form>'
    assert not unguarded(form.format(off + dialog).encode())
    for lacking in (off, dialog, dialog + off):
        assert unguarded(form.format(lacking).encode()) == ["itself"]
    assert not unguarded(b"<form><button></button></form>")
    assert unguarded(b'<form method="post" action="/a/"><button>Go</button></form>') == ["/a/"]
    late = f'<form method="post"><button>Go</button>{off}{dialog}</form>'
    assert unguarded(late.encode()) == ["itself"]
