"""Who may call what: a view names its scope, roles open scopes, a token narrows them."""

from __future__ import annotations

from typing import Any

from rest_framework.permissions import SAFE_METHODS, BasePermission
from rest_framework.request import Request

from inventory.furniture.sessions import DONE, SECOND
from inventory.models import AccessToken
from inventory.staff.queries import ACCOUNTANT, BENCH, OWNER, roles_of

# What each role may do through the API. "file" is the customer's and open to all.
SCOPES_OF_ROLE = {
    BENCH: {"bench", "read"},
    ACCOUNTANT: {"accounts", "read"},
    OWNER: {"owner", "accounts", "bench", "read"},
}


def scopes_of(request: Request) -> set[str]:
    """Return the scopes of this caller: those of the roles, narrowed by the token's own list."""
    if not request.user.is_authenticated:
        return set()
    scopes = set().union(*(SCOPES_OF_ROLE.get(role, set()) for role in roles_of(request.user)))
    if isinstance(request.auth, AccessToken):
        # Narrowed and never widened: a token loses what its owner's roles lose, at once.
        return scopes & set(request.auth.scopes)
    # A browser's session opens nothing before its second factor was shown.
    return scopes if request.session.get(SECOND) == DONE else set()


class HasScope(BasePermission):
    """A view sets `scope`, and `read_scope` where reading asks for less. None is open to all."""

    def has_permission(self, request: Request, view: Any) -> bool:
        # A view that forgets to name its scope is the owner's, not everybody's.
        scope = getattr(view, "scope", "owner")
        if request.method in SAFE_METHODS:
            scope = getattr(view, "read_scope", scope)
        return scope is None or scope in scopes_of(request)
