"""What the owner's role may do in the admin: edit the masters, read the books, name people.

A migration grants it, so that an owner needs no superuser rights. Nothing here lets anybody write
to the ledger: its tables are read-only for everyone.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django.db.models import Q

EDITED = {
    "inventory": (
        "polymer",
        "colour",
        "admission",
        "classprice",
        "scale",
        "part",
        "goodskind",
        "spoilcause",
    ),
    "returns": (
        "framemodel",
        "component",
        "colourway",
        "differingcomponent",
        "productionbatch",
        "remedy",
        "remedypart",
        "repairscores",
        "emissionfactors",
    ),
}
ONE_ROW = {"inventory": ("workshop",), "returns": ("policy",)}
READ = {
    "inventory": (
        "movement",
        "posting",
        "reading",
        "month",
        "monthbalance",
        "event",
        "lot",
        "blendshare",
    ),
    "returns": ("soldunits", "partner", "partnerslip", "walkin"),
    "auth": ("group",),
}
PEOPLE = {"auth": ("user",)}
APPS = ("auth", "inventory", "returns")


def rights() -> Iterator[tuple[str, str]]:
    """Yield pairs of app label and permission codename."""
    for actions, tables in (
        (("add", "change", "delete", "view"), EDITED),
        (("change", "view"), ONE_ROW),
        (("view",), READ),
        # No deleting: events and movements name people for ever. A login is switched off instead.
        (("add", "change", "view"), PEOPLE),
    ):
        for app, models in tables.items():
            yield from ((app, f"{action}_{model}") for model in models for action in actions)


def grant(group_model: Any, permission_model: Any, *, tables: frozenset[str] | None = None) -> None:
    """Give the owner's group exactly these rights; of `tables` only, for an early migration.

    Raises LookupError when one is missing, rather than leaving the owner before a locked door.
    """
    wanted = {
        (app, codename)
        for app, codename in rights()
        if tables is None or codename.rpartition("_")[2] in tables
    }
    # One question for all pairs; an app label and a codename must belong together.
    match = Q()
    for app, codename in wanted:
        match |= Q(content_type__app_label=app, codename=codename)
    found = list(permission_model.objects.filter(match).select_related("content_type"))
    missing = wanted - {(one.content_type.app_label, one.codename) for one in found}
    if missing:
        raise LookupError(f"permissions not made yet: {sorted(missing)}")
    # `set` also takes away what an earlier version granted.
    group_model.objects.get_or_create(name="owner")[0].permissions.set(found)
