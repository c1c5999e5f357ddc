"""What became of a load of goods, told without a person in it. Reads only."""

from __future__ import annotations

from dataclasses import dataclass

from inventory.goods import queries as loads
from inventory.goods.queries import Standing
from inventory.models import GrindRun, Load, LoadEntry, Posting
from returns.furniture import links
from returns.models import Giver, ProductionBatch
from returns.story.sums import codes

MOULDED_MAX = 20


@dataclass(frozen=True, slots=True)
class Ground:
    """A run that ground the box which a net lay in, and the batches moulded from its lot."""

    run: GrindRun
    batches: tuple[ProductionBatch, ...]


@dataclass(frozen=True, slots=True)
class Became:
    """A net of a load, in mg, and the runs since; none of them while it waits in its box."""

    net: LoadEntry
    ground: tuple[Ground, ...]


def by_secret(secret: str) -> Load | None:
    """Return the load that a private link opens; None for a link that leads nowhere."""
    # Before the hash, so that a stranger cannot have megabytes hashed.
    if not secret.isascii() or len(secret) > links.LENGTH_MAX:
        return None
    rows = Giver.objects.select_related("load").filter(link_hash=codes.hash_secret(secret))
    found = rows.exclude(load__state=Load.State.VOID).first()
    return found.load if found else None


def became(one: Standing) -> list[Became]:
    """Return what became of each net of a load."""
    return [
        Became(net, tuple(Ground(run, _batches(run)) for run in loads.runs_since(net)))
        for net in one.nets
    ]


def _batches(run: GrindRun) -> tuple[ProductionBatch, ...]:
    if run.lot is None:
        return ()
    issues = Posting.objects.filter(
        source__lot=run.lot,
        movement__kind="issue",
        movement__reverses=None,
        movement__reversed_by=None,
    )
    used = issues.order_by().values_list("movement__subject", flat=True)[:MOULDED_MAX]
    rows = ProductionBatch.objects.filter(code__in=list(used))
    return tuple(rows.select_related("colourway__model", "colourway__colour").order_by("made_on"))
