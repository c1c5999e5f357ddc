"""A form, a rule, and what the page needs to know afterwards: whether it was done."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

from django.db import models
from django.utils import timezone

from inventory.errors import NotFound
from inventory.pages.access import StaffRequest
from inventory.pages.forms import DeedForm

RowT = TypeVar("RowT", bound=models.Model)


def done(request: StaffRequest, form: DeedForm, rule: Callable[..., Any], /, **facts: Any) -> bool:
    """Call a rule for a valid form, now and by the person signed in. A refusal is in the form."""
    if not form.is_valid():
        return False
    form.attempt(rule, at=timezone.now(), by=request.user, **facts)
    return not form.errors


def found(rows: models.QuerySet[RowT], **facts: Any) -> RowT:
    """The one row, or the page that says that there is none."""
    row = rows.filter(**facts).first()
    if row is None:
        raise NotFound()
    return row
