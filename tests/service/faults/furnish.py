"""Furnishes the workshop that will be shaken, and prints its tokens and logins as JSON."""

from __future__ import annotations

import json
import uuid
from datetime import timedelta
from typing import TYPE_CHECKING

import django

if TYPE_CHECKING:
    from django.contrib.auth.models import User


def main() -> None:
    django.setup()
    from django.contrib.auth.models import User
    from django.utils import timezone

    from deploy.demo import cast, masters
    from inventory.models import Part, Workshop
    from inventory.parts import rules as parts
    from inventory.staff.rules import tokens
    from returns.models import Terms

    now = timezone.now()
    masters.furnish(today=now.date())
    # A served installation shows no practice data.
    Workshop.objects.update(demo=False)
    # A letter about a decision waits no minutes, so that each is seen within the run.
    Terms.objects.update(letter_wait_minutes=0)
    cast.hire(now - timedelta(days=200))
    for part in Part.objects.all():
        # Long ago: so there are months that can be closed while everything falls over.
        parts.receive(
            key=uuid.uuid4(), part=part, pieces=60_000, cost_minor=0, at=now - timedelta(days=190)
        )
    told = {}
    for name, scopes in (("bea", "bench read"), ("ben", "bench read"), ("acke", "accounts read")):
        person = User.objects.get(username=name)
        _row, told[name] = tokens.issue(
            key=uuid.uuid4(),
            name="faults",
            user=person,
            scopes=scopes.split(),
            days=30,
            at=now,
            by=person,
        )
    told["session"] = _session(User.objects.get(username="acke"))
    print(json.dumps(told))


def _session(person: User) -> str:
    """Signed in, as the door leaves it after both factors: papers are asked for on pages alone."""
    from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
    from django.utils import timezone

    from inventory.furniture import sessions as kept

    session = kept.SessionStore()
    session[kept.SECOND] = kept.DONE
    session[kept.ENTRY] = kept.entry(at=timezone.now(), address=None, browser="")
    session[SESSION_KEY] = str(person.pk)
    session[BACKEND_SESSION_KEY] = "django.contrib.auth.backends.ModelBackend"
    session[HASH_SESSION_KEY] = person.get_session_auth_hash()
    session.save()
    return str(session.session_key)


if __name__ == "__main__":
    main()
