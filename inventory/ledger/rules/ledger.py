"""The only writer of movements, postings and balances.

Every caller goes through `post()` or `reverse()`, inside the transaction of the story that the
movement belongs to. Balances are a cache: recomputable, and never the proof of anything.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import wraps
from typing import TYPE_CHECKING, Any, ParamSpec, TypeVar
from uuid import UUID

from django.db import IntegrityError, transaction
from django.db.models import F
from django.utils import timezone
from django.utils.text import capfirst
from django.utils.translation import gettext as _

from inventory.chain import rules as chain
from inventory.errors import (
    AlreadyReversed,
    BadInput,
    HingebackError,
    KeyReused,
    NotEnough,
    WrongRecipe,
)
from inventory.events import arguments, fingerprint, picked
from inventory.ledger.queries import naming
from inventory.ledger.rules import late
from inventory.ledger.sums import recipes
from inventory.models import Balance, Month, Movement, Place, Posting, Reading
from inventory.months.sums.calendar_month import Month as CalendarMonth
from inventory.months.sums.calendar_month import month_of

if TYPE_CHECKING:
    from django.contrib.auth.models import User

P = ParamSpec("P")
R = TypeVar("R")


@dataclass(frozen=True, slots=True)
class Line:
    """A posting to be written: `quantity` is in milligrams or pieces, as both places count.

    `heat` is the spread of this line where it is not that of the whole movement.
    """

    source: Place
    target: Place
    quantity: int
    reading: Reading | None = None
    heat: list[list[int]] | None = None


@dataclass(frozen=True, slots=True)
class Story:
    """What a movement belongs to. `subject` is an opaque code: a tag, a run, a lot, a kit."""

    subject: str = ""
    actor: User | None = None
    reason: str = ""
    cost_minor: int = 0
    heat: list[list[int]] | None = None


def rule(
    *,
    facts: Callable[..., list[Any]],
    kept: Callable[[Movement], list[Any]],
    again: Callable[[Movement], Any],
) -> Callable[[Callable[P, R]], Callable[P, R]]:
    """Put a rule into the frame whose only record is the movement that it posts under its own key.

    `facts` returns what was asked, as in `events.rule`; `kept` reads the same off the movement, so
    that the row itself tells whether a call is a repeat; `again` makes the answer to a repeat.

    Raises KeyReused when the movement under the key differs from the facts.
    """

    def frame(body: Callable[P, R]) -> Callable[P, R]:
        defaults = arguments(body, facts)

        @transaction.atomic
        def once(data: Mapping[str, Any], /, *args: P.args, **given: P.kwargs) -> R:
            earlier = Movement.objects.filter(key=data["key"]).first()
            if earlier is None:
                return body(*args, **given)
            if kept(earlier) != picked(facts, data):
                raise KeyReused()
            answer: R = again(earlier)
            return answer

        @wraps(body)
        def framed(*args: P.args, **given: P.kwargs) -> R:
            data = defaults | given
            try:
                return once(data, *args, **given)
            except (IntegrityError, HingebackError):
                # The slower of two hands with one key posts at a moment of its own: a repeat.
                if not Movement.objects.filter(key=data["key"]).exists():
                    raise
                return once(data, *args, **given)

        return framed

    return frame


@transaction.atomic
def post(
    *,
    key: UUID,
    kind: str,
    lines: Sequence[Line],
    happened_at: datetime,
    story: Story | None = None,
) -> Movement:
    """Write one movement.

    A repeat under the same `key` with the same content returns the movement already written.

    Raises:
        KeyReused: the key was used with other content.
        WrongRecipe: the kind may not move between these places, or the units differ.
        NotEnough: a place other than the boundary would go below zero.
    """
    data = story or Story()
    _refuse_bad_lines(kind, lines)
    head = Movement(key=key, kind=kind, happened_at=happened_at)
    head.fingerprint = fingerprint([*_asked(head, lines, data), *_more(data, lines)])
    # The locks come first: of two hands with one key, the second then sees what the first wrote.
    # The chain's before the balances': a story that posts twice holds it already.
    place = chain.hold()
    _lock_balances(lines)
    earlier = Movement.objects.filter(key=key).first()
    if earlier is not None:
        # Other content under a used key is a slip of the caller, and never a reason to write twice.
        if earlier.fingerprint != head.fingerprint:
            _refuse_other(earlier, head, lines, data)
        return earlier
    return _write(place, head, lines, data)


@transaction.atomic
def reverse(
    *,
    key: UUID,
    movement: Movement,
    reason: str,
    at: datetime,
    actor: User | None = None,
) -> Movement:
    """Post the mirror image of a movement, with a reason. A reversal cannot itself be reversed."""
    if not reason.strip():
        raise BadInput(_("Say why this is reversed."), field="reason")
    content = fingerprint(["reverse", movement.number, reason.strip()])
    earlier = Movement.objects.filter(key=key).first()
    if earlier is not None:
        if earlier.fingerprint != content:
            raise KeyReused()
        return earlier
    # For the message only: two reversals at once both pass here on PostgreSQL, and then the
    # one-to-one column lets a single row in.
    if movement.reverses_id or Movement.objects.filter(reverses=movement).exists():
        raise AlreadyReversed()
    lines = [
        # The reading goes along, so that what is taken back cancels with what it takes back.
        Line(posting.target, posting.source, posting.quantity, posting.reading, posting.heat)
        for posting in movement.postings.select_related("source", "target", "reading")
    ]
    place = chain.hold()
    _lock_balances(lines)
    story = Story(
        subject=movement.subject,
        actor=actor,
        reason=reason.strip(),
        cost_minor=-movement.cost_minor,
        # Unlike the cost it keeps its sign: the box gives back that very material, not its mix.
        heat=movement.heat,
    )
    head = Movement(
        key=key, kind=movement.kind, fingerprint=content, happened_at=at, reverses=movement
    )
    return _write(place, head, lines, story)


def _refuse_bad_lines(kind: str, lines: Sequence[Line]) -> None:
    if kind not in recipes.KINDS:
        raise WrongRecipe(_("There is no movement kind “%(kind)s”.") % {"kind": kind})
    if not lines:
        raise BadInput(_("A movement needs at least one line."))
    for line in lines:
        if line.quantity < 1:
            raise BadInput(_("Every line moves at least one milligram or piece."))
        _refuse_wrong_leg(kind, line)


def _refuse_wrong_leg(kind: str, line: Line) -> None:
    same_unit = line.source.unit == line.target.unit
    if same_unit and recipes.allows(kind, line.source.kind, line.target.kind, line.source.unit):
        return
    raise WrongRecipe(
        _("“%(kind)s” may not move from %(source)s to %(target)s.")
        % {"kind": kind, "source": line.source.code, "target": line.target.code}
    )


def _asked(head: Movement, lines: Sequence[Line], story: Story) -> list[Any]:
    """Return what was asked of `post`, except for what `_more` returns."""
    legs = [[line.source.code, line.target.code, line.quantity] for line in lines]
    return [head.kind, legs, story.subject, story.cost_minor, head.happened_at.isoformat()]


def _more(story: Story, lines: Sequence[Line]) -> list[Any]:
    """Return reason, heat and readings, which the fingerprints of the first movements left out."""
    # Kept apart from `_asked` and not merged into it: keys of the first kind are still answered.
    more = [story.reason, story.heat, [_seen(line.reading) for line in lines]]
    # Left out where no line has its own, as with all that was written before lines could have.
    heats = [line.heat for line in lines]
    return [*more, heats] if any(heats) else more


def _seen(reading: Reading | None) -> list[Any] | None:
    """Return a reading as it was typed: a repeat stores the same reading in a row of its own."""
    return [reading.scale_id, reading.typed, reading.mass_mg] if reading else None


def _refuse_other(earlier: Movement, head: Movement, lines: Sequence[Line], story: Story) -> None:
    """Raise KeyReused unless the fingerprint is of the first kind and the row holds the rest."""
    rows = earlier.postings.order_by("line").select_related("reading")
    # The first kind of fingerprint is older than lines with a spread of their own.
    rest = [earlier.reason, earlier.heat, [_seen(row.reading) for row in rows]]
    is_of_old = earlier.fingerprint == fingerprint(_asked(head, lines, story))
    if not is_of_old or rest != _more(story, lines):
        raise KeyReused()


def _write(place: chain.Place, movement: Movement, lines: Sequence[Line], story: Story) -> Movement:
    """Fill in the head, link it to the chain, write the rows, move the balances."""
    movement.month, movement.belongs_to = _month_for(movement.happened_at)
    movement.subject = story.subject
    movement.actor = story.actor
    movement.reason = story.reason
    late.note(movement)
    movement.cost_minor = story.cost_minor
    movement.heat = story.heat
    postings = [
        Posting(
            movement=movement,
            line=index,
            source=line.source,
            target=line.target,
            quantity=line.quantity,
            reading=line.reading,
            heat=line.heat,
        )
        for index, line in enumerate(lines, start=1)
    ]
    # Held since before the balances were locked: numbers have no gaps, and their order is the
    # order in which the postings took effect.
    chain.link_movement(place, movement, postings)
    movement.save(force_insert=True)
    Posting.objects.bulk_create(postings)
    _move_balances(lines)
    return movement


def _month_for(happened_at: datetime) -> tuple[str, str]:
    """The month to book in, and the month it belongs to when that one is closed already."""
    own = month_of(happened_at, timezone.get_default_timezone())
    last = Month.objects.order_by("-label").first()
    # Labels compare as text, since 2026-03 sorts in the order of time.
    if last is None or str(own) > last.label:
        return str(own), ""
    # Late facts go to the first month after the last closed one; a closed month never changes.
    return str(CalendarMonth.parse(last.label).next()), str(own)


def _lock_balances(lines: Sequence[Line]) -> None:
    """Lock the balances in one order on every database, so that movements never deadlock."""
    touched = {place.pk: place for line in lines for place in (line.source, line.target)}
    known = set(Balance.objects.filter(pk__in=touched).values_list("pk", flat=True))
    # A row that is not there yet cannot be locked, so it is made first; of two hands that make it
    # at once, the slower's insert is ignored.
    Balance.objects.bulk_create(
        (
            Balance(place=place, boundary=place.is_boundary)
            for pk, place in sorted(touched.items())
            if pk not in known
        ),
        ignore_conflicts=True,
    )
    # `list` runs the query. SQLite ignores the lock: there the whole transaction began IMMEDIATE,
    # and no other one writes beside it.
    list(Balance.objects.select_for_update().filter(pk__in=touched).order_by("pk"))


def _move_balances(lines: Sequence[Line]) -> None:
    # One net change per place: a movement may touch a place in several lines, and its balance is
    # judged after all of them, not in between.
    change: dict[int, int] = {}
    place_of: dict[int, Place] = {}
    for line in lines:
        for place, sign in ((line.source, -1), (line.target, 1)):
            place_of[place.pk] = place
            change[place.pk] = change.get(place.pk, 0) + sign * line.quantity
    for pk, delta in sorted(change.items()):
        rows = Balance.objects.filter(pk=pk)
        # The condition stands in the UPDATE itself, so that a place cannot go below zero between a
        # look and a write, whatever the database's isolation.
        if delta < 0 and not place_of[pk].is_boundary:
            rows = rows.filter(quantity__gte=-delta)
        if rows.update(quantity=F("quantity") + delta) != 1:
            raise _not_enough(place_of[pk], -delta)


def _not_enough(place: Place, wanted: int) -> NotEnough:
    held = Balance.objects.get(pk=place.pk).quantity
    return NotEnough(
        _("%(place)s: it holds %(held)s, and this would take %(wanted)s out.")
        % {
            "place": capfirst(naming.words(place)),
            "held": naming.amount(place, held),
            "wanted": naming.amount(place, wanted),
        },
        place=place.code,
        held=held,
        wanted=wanted,
    )
