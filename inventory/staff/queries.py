"""The roles of the house, and those of a person. Reads only."""

from __future__ import annotations

from django.contrib.auth.models import AnonymousUser, User

BENCH = "bench"
ACCOUNTANT = "accountant"
OWNER = "owner"


def roles_of(user: User | AnonymousUser) -> frozenset[str]:
    """Return the roles of a user; none for a stranger or a user who is switched off."""
    if not user.is_active:
        return frozenset()
    return frozenset(user.groups.values_list("name", flat=True))
