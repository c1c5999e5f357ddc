"""The scenario's people of the house, with passwords made at first run."""

from __future__ import annotations

import secrets
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime
from pathlib import Path

from django.contrib.auth.hashers import make_password
from django.contrib.auth.models import Group, User

HOUSE = {
    "bea": ("Bea", "bench"),
    "ben": ("Ben", "bench"),
    "acke": ("Acke", "accountant"),
    "olga": ("Olga", "owner"),
}


def hire(at: datetime) -> None:
    """Create the four accounts; nobody can sign in with them yet."""
    for name, (first_name, role) in HOUSE.items():
        user = User.objects.create_user(
            name,
            f"{name}@example.org",
            first_name=first_name,
            is_staff=role == "owner",
            date_joined=at,
        )
        user.groups.add(Group.objects.get_or_create(name=role)[0])


def give_passwords(logins_file: Path) -> None:
    """Draw the passwords and keep them in a file only this user can read."""
    drawn = {name: secrets.token_urlsafe(9) for name in HOUSE}
    # A slow hash is slow by design; it lets other threads work meanwhile.
    with ThreadPoolExecutor() as pool:
        hashes = dict(zip(drawn, pool.map(make_password, drawn.values()), strict=True))
    lines = ["Demo logins (made at first run; for practice only):", ""]
    for name, (_first_name, role) in HOUSE.items():
        User.objects.filter(username=name).update(password=hashes[name])
        lines.append(f"  {role:<11} {name:<6} {drawn[name]}")
    # Closed to others before it is written, so that there is no moment in which it can be read.
    logins_file.touch(mode=0o600)
    logins_file.write_text("\n".join(lines) + "\n", encoding="utf-8")
