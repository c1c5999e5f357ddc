"""People of the workshop: logins made by the owner, passwords shown once, switched off and on."""

from __future__ import annotations

import uuid
from typing import Any

from django import forms
from django.contrib import messages
from django.contrib.auth.models import User
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _t
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from inventory.errors import NotFound
from inventory.furniture.pages.access import StaffRequest, allow
from inventory.furniture.pages.forms import ActionForm
from inventory.staff.pages.own import door_facts
from inventory.staff.queries import OWNER
from inventory.staff.rules import second, signins, staff

ROLES = {"bench": _("bench"), "accountant": _("accountant"), "owner": _("owner")}
ROLE_NAMES = {
    "bench": _("bench: weighs in, grades, mends, grinds"),
    "accountant": _("accountant: reads and closes months"),
    "owner": _("owner: everything, and the logins"),
}


class HireForm(ActionForm):
    name = forms.CharField(
        label=_("Login name"),
        max_length=staff.NAME_LENGTH_MAX,
        help_text=_("Short, without blanks, such as “bea”."),
        widget=forms.TextInput(attrs={"autocapitalize": "none", "autocomplete": "off"}),
    )
    first_name = forms.CharField(
        label=_("First name"), max_length=staff.NAME_LENGTH_MAX, required=False
    )
    role = forms.ChoiceField(
        label=_("Role"), choices=list(ROLE_NAMES.items()), widget=forms.RadioSelect
    )


@require_http_methods(["GET", "HEAD", "POST"])
@allow(OWNER)
def page(request: StaffRequest) -> HttpResponse:
    """List and make logins. A new password stands in this one answer and nowhere else."""
    form = HireForm(request.POST if request.method == "POST" else None)
    made: dict[str, Any] = {}
    if form.is_bound and form.is_valid():
        facts = {name: form.cleaned_data[name] for name in ("name", "first_name", "role")}
        done = form.attempt(staff.hire, at=timezone.now(), by=request.user, **facts)
        if done is not None:
            # Shown in the answer to the POST, with no redirect: a session or an address would keep
            # the password.
            made, form = {"made": done[0], "password": done[1]}, HireForm()
    return _shown(request, form, made)


@require_POST
@allow(OWNER)
def password(request: StaffRequest, number: int) -> HttpResponse:
    """Make a new password for somebody, shown in this one answer."""
    person, text = staff.renew_password(
        key=_key(request), number=number, at=timezone.now(), by=request.user
    )
    return _shown(request, HireForm(), {"made": person, "password": text})


@require_POST
@allow(OWNER)
def off(request: StaffRequest, number: int) -> HttpResponse:
    """Switch a login off; once it is, it stays so."""
    person = staff.switch_off(key=_key(request), number=number, at=timezone.now(), by=request.user)
    data = _t("“%(name)s” can no longer sign in.")
    messages.success(request, data % {"name": person.get_username()})
    return redirect("people")


@require_POST
@allow(OWNER)
def on(request: StaffRequest, number: int) -> HttpResponse:
    """Switch a login on again."""
    person = staff.switch_on(key=_key(request), number=number, at=timezone.now(), by=request.user)
    messages.success(request, _t("“%(name)s” can sign in again.") % {"name": person.get_username()})
    return redirect("people")


@require_safe
@allow(OWNER)
def one(request: StaffRequest, number: int) -> HttpResponse:
    """Show how somebody signs in, where they are signed in, and what happened at the door."""
    person = _person(number)
    facts = {
        **door_facts(person, here=request.session.session_key),
        "person": person,
        "is_self": person.pk == request.user.pk,
        "key": uuid.uuid4(),
    }
    return render(request, "returns/setup/person.html", facts)


@require_POST
@allow(OWNER)
def factor(request: StaffRequest, number: int) -> HttpResponse:
    """Take all second factors from somebody who has lost them."""
    second.reset(key=_key(request), number=number, at=timezone.now(), by=request.user)
    messages.success(request, _t("The second factor is taken away, and the sessions are ended."))
    return redirect("person", number)


@require_POST
@allow(OWNER)
def end_session(request: StaffRequest, number: int, handle: str) -> HttpResponse:
    """End one of somebody's sessions."""
    signins.end(user=_person(number), handle=handle, at=timezone.now())
    messages.success(request, _t("It is signed out."))
    return redirect("person", number)


def _person(number: int) -> User:
    person = User.objects.filter(pk=number).first()
    if person is None:
        raise NotFound
    return person


def _key(request: StaffRequest) -> uuid.UUID:
    """Return the button's one-time key; a button without one stands for a new action."""
    try:
        return uuid.UUID(request.POST.get("key", ""))
    except ValueError:
        return uuid.uuid4()


def _shown(request: StaffRequest, form: HireForm, made: dict[str, Any]) -> HttpResponse:
    rows = [
        {
            "it": person,
            "roles": [ROLES.get(group.name, group.name) for group in person.groups.all()],
            "is_self": person.pk == request.user.pk,
            "is_above": person.is_superuser and not request.user.is_superuser,
            # One for each button of the row: pressing twice is one action.
            "keys": (uuid.uuid4(), uuid.uuid4()),
        }
        for person in staff.everybody()
    ]
    status = 400 if form.errors else 200
    facts = {"form": form, "rows": rows, "wide": False, **made}
    return render(request, "returns/setup/people.html", facts, status=status)
