"""Reads a ledger written as text, posts it through the real rules, and writes back what stands.

A line is a movement, a reversal or a closing; `[a]` before it names its key, to send it again:

    2026-10-14 weigh_in F-1: wearers -> arrivals 24310 mg
    [a] 2026-10-14 fit_part F-1, 12 cents: bin -> wearers 1 pc, press -> bench 110 mg
    2026-10-15 reverse #1: typed twice
    2026-11-02 close 2026-10

Places are called by their kind. There is one box (PP, slate) and one bin (screws).
"""

from __future__ import annotations

import re
from datetime import UTC, datetime
from textwrap import dedent
from uuid import NAMESPACE_URL, UUID, uuid5

from inventory.errors import HingebackError
from inventory.ledger.rules import ledger, places
from inventory.models import Balance, Colour, Movement, Part, Place, PlaceKind, Polymer, Posting
from inventory.months import rules as months
from tests.makers import key

_LINE = re.compile(
    r"(?:\[(?P<key>\w+)\] )?(?P<day>\d{4}-\d\d-\d\d) (?P<verb>\w+)"
    r"(?: (?P<subject>[^\s:,]+))?(?:, (?P<cost>-?\d+) cents)?(?:: ?(?P<rest>.*))?"
)
_LEG = re.compile(r"(\w+) -> (\w+) (-?\d+) (mg|pc)")


def booked(text: str) -> str:
    """Post each line; give back what became of each: number, closed month or refusal."""
    return "\n".join(_outcome(line.strip()) for line in dedent(text).strip().splitlines())


def journal() -> str:
    """All movements in order, each with its month, its legs, and what it undoes or belongs to."""
    return "\n".join(_told(movement) for movement in Movement.objects.order_by("number"))


def held() -> str:
    """What each place holds, the empty ones left out, by kind."""
    rows = Balance.objects.exclude(quantity=0).select_related("place")
    return "\n".join(sorted(f"{row.place.kind} {row.quantity} {row.place.unit}" for row in rows))


def ledger_text(text: str) -> str:
    """A ledger as it is compared: no indent, no empty line at either end."""
    return dedent(text).strip()


def place(kind: str, unit: str = "mg") -> Place:
    """The one place of this kind that counts in this unit."""
    if kind == "box":
        polymer, _made = Polymer.objects.get_or_create(code="PP", defaults={"name": "PP"})
        colour, _made = Colour.objects.get_or_create(code="slate", defaults={"name": "Slate"})
        return places.box(polymer=polymer, colour=colour, origin="post_consumer_return")
    if kind == "bin":
        part, _made = Part.objects.get_or_create(code="screw", defaults={"name": "Screw"})
        return places.bin_of(part)
    return places.pieces(PlaceKind(kind)) if unit == "pc" else places.mass(PlaceKind(kind))


def _outcome(line: str) -> str:
    try:
        return _done(line)
    except HingebackError as refused:
        return f"refused: {refused.code}"


def _done(line: str) -> str:
    found = _LINE.fullmatch(line)
    assert found is not None, f"not a line of a ledger: {line!r}"
    named = uuid5(NAMESPACE_URL, found["key"]) if found["key"] else key()
    at = datetime.fromisoformat(found["day"]).replace(hour=10, tzinfo=UTC)
    if found["verb"] == "close":
        return f"closed {months.close(key=named, label=found['subject'], at=at, by=None).label}"
    if found["verb"] == "reverse":
        movement = Movement.objects.get(number=int(found["subject"].removeprefix("#")))
        reason = found["rest"] or ""
        return _number(ledger.reverse(key=named, movement=movement, reason=reason, at=at))
    return _number(_posted(found, named, at))


def _posted(found: re.Match[str], named: UUID, at: datetime) -> Movement:
    legs = [leg for leg in (found["rest"] or "").split(", ") if leg]
    return ledger.post(
        key=named,
        kind=found["verb"],
        lines=[_line(leg) for leg in legs],
        happened_at=at,
        story=ledger.Story(subject=found["subject"] or "", cost_minor=int(found["cost"] or 0)),
    )


def _line(leg: str) -> ledger.Line:
    found = _LEG.fullmatch(leg)
    assert found is not None, f"not a leg: {leg!r}"
    source, target, quantity, unit = found.groups()
    return ledger.Line(place(source, unit), place(target, unit), int(quantity))


def _number(movement: Movement) -> str:
    return f"#{movement.number}"


def _told(movement: Movement) -> str:
    postings = Posting.objects.filter(movement=movement).order_by("line")
    legs = ", ".join(
        f"{one.source.kind} -> {one.target.kind} {one.quantity} {one.source.unit}"
        for one in postings.select_related("source", "target")
    )
    head = f"#{movement.number} {movement.month} {movement.kind} {movement.subject}".rstrip()
    facts = [
        f", {movement.cost_minor} cents" if movement.cost_minor else "",
        f" of {movement.belongs_to}" if movement.belongs_to else "",
        f" undoes #{movement.reverses.number} ({movement.reason})" if movement.reverses else "",
    ]
    return f"{head}{''.join(facts)}: {legs}"
