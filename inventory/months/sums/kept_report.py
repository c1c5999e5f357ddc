"""Compares a kept report with the same report as a later version builds it.

A later version may know more of a month than its close did: figures that are new are no
difference. Every figure that was closed must be there and be the same.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

SHOWN_MAX = 3


def unlike(kept: str, built: str) -> list[str]:
    """Return where two reports in canonical JSON differ, at most three places, such as
    `material/0/flows/closing`. Empty when every kept figure stands in what was built.
    """
    found = []
    for where in _places(json.loads(kept), json.loads(built), ""):
        found.append(where)
        if len(found) == SHOWN_MAX:
            break
    return found


def _places(kept: Any, built: Any, where: str) -> Iterator[str]:
    if isinstance(kept, dict) and isinstance(built, dict):
        for name, value in kept.items():
            if name in built:
                yield from _places(value, built[name], f"{where}/{name}".lstrip("/"))
            else:
                yield f"{where}/{name}".lstrip("/")
    elif isinstance(kept, list) and isinstance(built, list) and len(kept) == len(built):
        for number, (one, other) in enumerate(zip(kept, built, strict=True)):
            yield from _places(one, other, f"{where}/{number}")
    # By type too: in JSON `true` and 1 are different things, in Python they are equal.
    elif type(kept) is not type(built) or kept != built:
        yield where
