"""The checklist of the first hour, and one page for each of its steps. For the owner."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import get_language_info
from django.utils.translation import gettext as _t
from django.views.decorators.http import require_http_methods, require_safe

from inventory.errors import NotFound
from inventory.furniture.pages.access import StaffRequest, allow
from inventory.furniture.pages.forms import ActionForm
from inventory.staff.queries import OWNER
from returns.setup import queries as readiness
from returns.setup.pages import network
from returns.setup.pages.steps import PAGES, Page


@require_safe
@allow(OWNER)
def page(request: HttpRequest) -> HttpResponse:
    """Show every step with its state; when all needed ones are done, the way to a first return."""
    steps = readiness.steps()
    waiting = [step for step in steps if step.is_needed and not step.is_done]
    lines = [
        {
            "step": step,
            "page": PAGES[step.name],
            "path": PAGES[step.name].address(step.name),
            "is_next": bool(waiting) and step.name == waiting[0].name,
        }
        for step in steps
    ]
    needed = [step for step in steps if step.is_needed]
    facts: dict[str, Any] = {"lines": lines, "waiting": len(waiting), "needed": len(needed)}
    facts["done"] = len(needed) - len(waiting)
    facts["network"] = network.facts()
    return render(request, "returns/setup/checklist.html", facts)


@require_http_methods(["GET", "HEAD", "POST"])
@allow(OWNER)
def one(request: StaffRequest, step: str) -> HttpResponse:
    """Show one step: its form and what is there already."""
    if step not in PAGES or PAGES[step].door:
        raise NotFound
    shown = PAGES[step]
    form = _form(request, shown)
    if form is not None and form.is_bound and _done(request, form, shown):
        messages.success(request, _t("Entered: %(step)s.") % {"step": shown.title})
        return redirect("setup-step", step)
    facts = {
        "name": step,
        "page": shown,
        "form": form,
        "there": shown.there(),
        "following": _following(step),
        "new_frames": readiness.new_frames() if step == "limits" else (),
        "zone": settings.TIME_ZONE,
        "language": get_language_info(settings.LANGUAGE_CODE)["name_translated"],
    }
    status = 400 if form is not None and form.errors else 200
    return render(request, "returns/setup/step.html", facts, status=status)


def _form(request: HttpRequest, shown: Page) -> ActionForm | None:
    if shown.form is None:
        return None
    if request.method == "POST":
        return shown.form(request.POST, request.FILES)
    return shown.form(initial=shown.initial())


def _done(request: StaffRequest, form: Any, shown: Page) -> bool:
    if not form.is_valid() or shown.rule is None:
        return False
    form.attempt(shown.rule, at=timezone.now(), by=request.user, **form.facts())
    return not form.errors


def _following(name: str) -> dict[str, Any] | None:
    """Return the next step that is not done yet, after this one; None when nothing is left."""
    steps = readiness.steps()
    at = [found.name for found in steps].index(name)
    left = [found for found in steps[at + 1 :] if not found.is_done]
    if not left:
        return None
    return {"title": PAGES[left[0].name].title, "path": PAGES[left[0].name].address(left[0].name)}
