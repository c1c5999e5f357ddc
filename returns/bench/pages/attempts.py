"""A form, a rule, and what the page needs to know afterwards: whether it was done."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

from django.db import models
from django.utils import timezone

from inventory.errors import NotFound
from inventory.furniture.pages.access import StaffRequest
from inventory.furniture.pages.forms import ActionForm
from returns.arriving.pages import scales

RowT = TypeVar("RowT", bound=models.Model)


def done(
    request: StaffRequest, form: ActionForm, rule: Callable[..., Any], /, **facts: Any
) -> bool:
    """Call a rule for a valid form, now and by the person signed in. A refusal is in the form."""
    if not form.is_valid():
        return False
    form.attempt(rule, at=timezone.now(), by=request.user, **facts)
    scale = form.cleaned_data.get("scale")
    if scale is not None and not form.errors:
        scales.remember(request, scale)
    return not form.errors


def focused(form: ActionForm) -> ActionForm:
    """The cursor starts in the form's first field that a hand fills in."""
    first = next(iter(form.visible_fields()), None)
    if first is not None:
        first.field.widget.attrs["autofocus"] = True
    return form


def found(rows: models.QuerySet[RowT], **facts: Any) -> RowT:
    """The one row, or the page that says that there is none."""
    row = rows.filter(**facts).first()
    if row is None:
        raise NotFound()
    return row
