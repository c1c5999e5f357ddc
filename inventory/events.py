"""The audit history, and the frame that no rule can leave: one transaction, one event, once.

A rule under `rule()` is asked with the caller's id, its `key`. The frame opens the transaction,
answers a repeat from the earlier event, and writes the event that the rule has named. What has no
caller's id, a sweep or a part of a larger rule, writes its event with `record()`.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from functools import cache, wraps
from inspect import Parameter, signature
from typing import TYPE_CHECKING, Any, Concatenate, Final, ParamSpec, TypeVar
from uuid import UUID

from django.db import IntegrityError, transaction
from django.utils.crypto import salted_hmac

from inventory.errors import HingebackError, KeyReused
from inventory.models import Event

if TYPE_CHECKING:
    from django.contrib.auth.models import User

P = ParamSpec("P")
R = TypeVar("R")

CIRCUMSTANCES: Final = frozenset({"key", "at", "by", "actor"})
"""Arguments that a repeat may have otherwise: they are not what was asked."""


@dataclass(slots=True)
class Draft:
    """The event of the rule that is running: the rule names what it is of, the frame writes it."""

    subject: str = ""
    detail: dict[str, Any] = field(default_factory=dict)
    is_idle: bool = False

    def of(self, subject: str, **detail: Any) -> None:
        """Say what the event is of. `detail` holds codes and ids only."""
        self.subject, self.detail = subject, detail

    def drop(self) -> None:
        """Nothing was changed, so there is no event."""
        self.is_idle = True

    def write(self, name: str, asked: Any, data: Mapping[str, Any]) -> None:
        """Write the event. RuntimeError when the rule has not said what it is of."""
        if self.is_idle:
            return
        if not self.subject:
            raise RuntimeError(f"{name} ended without saying what its event is of")
        record(
            key=data["key"],
            name=name,
            subject=self.subject,
            facts=asked,
            at=data["at"],
            actor=data.get("by"),
            detail=self.detail,
        )


def rule(
    name: str, *, facts: Callable[..., Any], again: Callable[..., Any], aside: Sequence[str] = ()
) -> Callable[[Callable[Concatenate[Draft, P], R]], Callable[P, R]]:
    """The frame of a rule whose event is called `name`.

    `facts` says what was asked, for the fingerprint; `again` finds the answer to a repeat, and may
    take the earlier `event`. Both take, by name, those of the rule's arguments that they need.
    Every argument but the circumstances is in the facts or stands in `aside`, else TypeError.

    Raises KeyReused when the key was used before, by another rule or for other facts.
    """

    def frame(body: Callable[Concatenate[Draft, P], R]) -> Callable[P, R]:
        defaults = arguments(body, facts, again=again, aside=aside)

        @transaction.atomic
        def once(data: Mapping[str, Any], /, *args: P.args, **given: P.kwargs) -> R:
            asked = picked(facts, data)
            event = Event.objects.filter(key=data["key"]).first()
            if event is None:
                draft = Draft()
                made = body(draft, *args, **given)
                draft.write(name, asked, data)
                return made
            if (event.name, event.fingerprint) != (name, fingerprint(asked)):
                raise KeyReused()
            answer: R = picked(again, {**data, "event": event})
            return answer

        @wraps(body)
        def framed(*args: P.args, **given: P.kwargs) -> R:
            data = defaults | given
            try:
                return once(data, *args, **given)
            except (IntegrityError, HingebackError):
                # Of two hands with one key, the slower fails on what the faster wrote: a repeat.
                if not Event.objects.filter(key=data["key"]).exists():
                    raise
                return once(data, *args, **given)

        return framed

    return frame


def arguments(
    body: Callable[..., Any],
    facts: Callable[..., Any],
    *,
    again: Callable[..., Any] | None = None,
    aside: Sequence[str] = (),
) -> dict[str, Any]:
    """The defaults of a rule's arguments. TypeError for one that is neither in the facts nor set
    aside, and for one that the rule does not have.
    """
    words = signature(body).parameters.values()
    taken = {one.name: one.default for one in words if one.kind is Parameter.KEYWORD_ONLY}
    asked = {*names(facts), *aside}
    if lacking := sorted(taken.keys() - asked - CIRCUMSTANCES):
        raise TypeError(f"{body.__qualname__}: not in the fingerprint: {lacking}")
    wanted = asked | ({*names(again)} - {"event"} if again else set())
    if unknown := sorted(wanted - taken.keys()):
        raise TypeError(f"{body.__qualname__} has no such argument: {unknown}")
    return {name: default for name, default in taken.items() if default is not Parameter.empty}


def picked(function: Callable[..., Any], data: Mapping[str, Any]) -> Any:
    """Call a function with those of the arguments that it names."""
    return function(**{name: data[name] for name in names(function)})


@cache
def names(function: Callable[..., Any]) -> tuple[str, ...]:
    """The names of a function's parameters."""
    return tuple(signature(function).parameters)


def fingerprint(facts: Any) -> str:
    """SHA-256 of the canonical JSON of what was asked. Hex, 64 characters."""
    text = json.dumps(facts, sort_keys=True, ensure_ascii=False, default=str)
    return hashlib.sha256(text.encode()).hexdigest()


def sealed(salt: str, text: str) -> str:
    """A fingerprint, hex, that nobody without the server's secret can try texts against."""
    return salted_hmac(salt, text, algorithm="sha256").hexdigest()


def record(
    *,
    key: UUID,
    name: str,
    subject: str,
    facts: Any,
    at: datetime,
    actor: User | None = None,
    detail: dict[str, Any] | None = None,
) -> Event:
    """Write the event of what no caller's id was sent for. `detail` holds codes and ids only."""
    return Event.objects.create(
        key=key,
        name=name,
        subject=subject,
        actor=actor,
        at=at,
        fingerprint=fingerprint(facts),
        detail=detail or {},
    )
