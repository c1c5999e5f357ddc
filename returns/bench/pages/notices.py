"""What was done, and the way back where there is one."""

from __future__ import annotations

from uuid import UUID

from django.contrib import messages
from django.urls import reverse
from django.utils.html import format_html
from django.utils.translation import gettext as _

from inventory.furniture.pages.access import StaffRequest
from inventory.furniture.pages.forms import ActionForm
from inventory.models import Event, Movement
from inventory.staff.queries import ACCOUNTANT, OWNER, roles_of


def done(request: StaffRequest, words: str, *, undo: str) -> None:
    """Say what was done, with a link to the form that undoes it."""
    link = '{} <a class="big-link" href="{}">{}</a>'
    messages.success(request, format_html(link, words, undo, _("Undo it")))


def moved(request: StaffRequest, words: str, form: ActionForm) -> None:
    """Say what was done and under which movement it stands, which whoever keeps the books may
    reverse."""
    number = _movement_of(form.cleaned_data["key"])
    if number is None:
        messages.success(request, words)
    elif roles_of(request.user) & {ACCOUNTANT, OWNER}:
        done(request, words, undo=reverse("movement", args=[number]))
    else:
        data = _("If it was wrong, have the accountant or the owner reverse movement #%(number)s.")
        messages.success(request, f"{words} {data % {'number': number}}")


def _movement_of(key: UUID) -> int | None:
    """Return the number: an event names its movement; without one, the movement has the key."""
    action = Event.objects.filter(key=key).first()
    if action is not None:
        number: int | None = action.detail.get("movement")
        return number
    return Movement.objects.filter(key=key).values_list("number", flat=True).first()
