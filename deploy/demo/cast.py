"""The scenario's people of the house, with passwords made at first run."""

from __future__ import annotations

import secrets
from pathlib import Path

from django.contrib.auth.models import Group, User

HOUSE = {
    "bea": ("Bea", "bench"),
    "ben": ("Ben", "bench"),
    "acke": ("Acke", "accountant"),
    "olga": ("Olga", "owner"),
}


def hire(logins_file: Path) -> dict[str, User]:
    """Create the four accounts and keep their passwords in a file only this user can read."""
    house: dict[str, User] = {}
    lines = ["Demo logins (made at first run; for practice only):", ""]
    for name, (first_name, role) in HOUSE.items():
        password = secrets.token_urlsafe(9)
        user = User.objects.create_user(
            name, f"{name}@example.org", password, first_name=first_name, is_staff=role == "owner"
        )
        user.groups.add(Group.objects.get_or_create(name=role)[0])
        house[name] = user
        lines.append(f"  {role:<11} {name:<6} {password}")
    # Closed to others before it is written, so that there is no moment in which it can be read.
    logins_file.touch(mode=0o600)
    logins_file.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return house
