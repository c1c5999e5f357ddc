"""What may go with what: which boxes take which materials, by the owner's table. Reads only.

A box takes its own colour. A box of a base colour, or of what colour changes left, also takes what
the table names. The box of a blend takes that blend only, whatever the table says.
"""

from __future__ import annotations

from collections.abc import Collection

from inventory.models import Admission, Colour


def takes(into: Colour, of: Collection[Colour]) -> bool:
    """Return whether a box of `into` takes material of every one of these colours."""
    others = {colour.pk for colour in of} - {into.pk}
    if not others:
        return True
    if into.is_blend:
        return False
    admitted = Admission.objects.filter(into=into, of__in=others)
    return admitted.values("of").distinct().count() == len(others)


def boxes_for(of: Collection[Colour]) -> list[Colour]:
    """Return the colours whose boxes take material of every one of these, their own ones first."""
    wanted = {colour.pk for colour in of}
    table: dict[int, set[int]] = {}
    for into, other in Admission.objects.values_list("into", "of"):
        table.setdefault(into, set()).add(other)
    found = [
        colour
        for colour in Colour.objects.exclude(kind=Colour.Kind.BLEND)
        if wanted <= table.get(colour.pk, set()) | {colour.pk}
    ]
    return sorted(found, key=lambda colour: colour.pk not in wanted)
