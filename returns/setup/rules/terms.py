"""Entering what customers are told about money, post and waiting."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import TYPE_CHECKING, Any
from uuid import UUID

from django.utils.translation import gettext as _

from inventory import events
from inventory.errors import BadInput
from inventory.events import Draft
from inventory.masters import rules as masters
from returns.models import Terms

if TYPE_CHECKING:
    from django.contrib.auth.models import User


@events.rule("masters.set_terms", facts=masters.sealed, again=masters.as_it_stands(Terms))
def set_terms(
    event: Draft, /, *, key: UUID, facts: Mapping[str, Any], at: datetime, by: User
) -> Terms:
    """Write the one row. BadInput names the field that will not do."""
    if facts["rest_days"] <= facts["remind_days"]:
        raise BadInput(_("Remind first: a request rests some days later."), field="rest_days")
    return masters.entered(event, Terms.the(), facts)
