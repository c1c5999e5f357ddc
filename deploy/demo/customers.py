"""Invented customers, drawn from the shore words in `fixtures/demo/customers.json`."""

from __future__ import annotations

import json
from functools import cache
from random import Random
from typing import Any

from django.conf import settings

from returns.customers.rules import Contact


@cache
def _words() -> dict[str, Any]:
    source = settings.BASE_DIR / "fixtures" / "demo" / "customers.json"
    words: dict[str, Any] = json.loads(source.read_text(encoding="utf-8"))
    return words


def someone(random: Random, number: int) -> Contact:
    """Invent one customer. The number keeps the email address unique."""
    words = _words()
    first, last = random.choice(words["first_names"]), random.choice(words["last_names"])
    postal_code, city, country = random.choice(words["towns"])
    # Example addresses only (RFC 2606): a letter of the scenario can reach nobody.
    plain = f"{first}.{last}".lower().replace("ü", "ue")
    return Contact(
        name=f"{first} {last}",
        email=f"{plain}.{number}@example.org",
        street=f"{random.choice(words['streets'])} {random.randint(1, 98)}",
        extra="",
        postal_code=postal_code,
        city=city,
        region="",
        country=country,
        language=random.choice(("de", "en")),
    )
