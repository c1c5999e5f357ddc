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

from inventory.chain import rules as chain
from inventory.errors import HingebackError, KeyReused
from inventory.models import Event, changes

if TYPE_CHECKING:
    from django.contrib.auth.models import User

P = ParamSpec("P")
R = TypeVar("R")

CIRCUMSTANCES: Final = frozenset({"key", "at", "by", "actor"})
"""Arguments that may differ in a repeat: they are not part of what was asked."""


@dataclass(slots=True)
class Draft:
    """The event of the running rule: the rule names its subject, the frame writes it."""

    subject: str = ""
    detail: dict[str, Any] = field(default_factory=dict)
    is_idle: bool = False

    def of(self, subject: str, **detail: Any) -> None:
        """Name the event's subject. `detail` holds codes and ids only."""
        self.subject, self.detail = subject, detail

    def drop(self) -> None:
        """Write no event, because the rule has changed nothing."""
        self.is_idle = True

    def write(self, name: str, asked: Any, data: Mapping[str, Any]) -> None:
        """Write the event. Raises RuntimeError when the rule has named no subject."""
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
    """Put a rule into the frame: one transaction, one event called `name`, once per key.

    `facts` returns what was asked, for the fingerprint; `again` finds the answer to a repeat, and
    may take the earlier `event`. Both take, by name, the rule's arguments that they need. Every
    argument except the circumstances must be in the facts or in `aside`, else TypeError.

    Raises KeyReused when the key was used before, by another rule or for other facts.
    """

    def frame(body: Callable[Concatenate[Draft, P], R]) -> Callable[P, R]:
        # Checked when the module is read, not when the rule runs: an argument that somebody forgot
        # to put into the fingerprint stops the start instead of answering a wrong repeat.
        defaults = arguments(body, facts, again=again, aside=aside)

        @transaction.atomic
        def once(data: Mapping[str, Any], /, *args: P.args, **given: P.kwargs) -> R:
            asked = picked(facts, data)
            # No lock: of two calls with one key both may pass here, and then the unique key lets
            # one in.
            event = Event.objects.filter(key=data["key"]).first()
            if event is None:
                draft = Draft()
                with changes.acting(rule=name, by=data.get("by"), at=data.get("at")):
                    made = body(draft, *args, **given)
                draft.write(name, asked, data)
                return made
            # The name counts too: one key under two rules is a slip of the caller, not a repeat.
            if (event.name, event.fingerprint) != (name, fingerprint(asked)):
                raise KeyReused()
            answer: R = picked(again, {**data, "event": event})
            return answer

        @wraps(body)
        def framed(*args: P.args, **given: P.kwargs) -> R:
            data = defaults | given
            try:
                return once(data, *args, **given)
            # Caught outside `once`: PostgreSQL takes no further query in a transaction that has
            # failed.
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
    """Return the defaults of a rule's arguments.

    Raises TypeError for an argument that is neither in the facts nor set aside, and for a name
    that the rule does not have.
    """
    words = signature(body).parameters.values()
    taken = {one.name: one.default for one in words if one.kind is Parameter.KEYWORD_ONLY}
    asked = {*names(facts), *aside}
    if lacking := sorted(taken.keys() - asked - CIRCUMSTANCES):
        raise TypeError(f"{body.__qualname__}: not in the fingerprint: {lacking}")
    wanted = asked | ({*names(again)} - {"event"} if again else set())
    if unknown := sorted(wanted - taken.keys()):
        raise TypeError(f"{body.__qualname__} has no such argument: {unknown}")
    # The defaults are wanted because `facts` may name an argument that the caller left out.
    return {name: default for name, default in taken.items() if default is not Parameter.empty}


def picked(function: Callable[..., Any], data: Mapping[str, Any]) -> Any:
    """Call a function with those of the arguments that it names."""
    return function(**{name: data[name] for name in names(function)})


# Every call of a rule asks for these, and reading a signature is slow. The functions are made
# when modules are read, so that the cache holds no more than there are rules.
@cache
def names(function: Callable[..., Any]) -> tuple[str, ...]:
    """The names of a function's parameters."""
    return tuple(signature(function).parameters)


def fingerprint(facts: Any) -> str:
    """Return the SHA-256 of the canonical JSON of what was asked, as 64 hex characters."""
    # Stored fingerprints answer repeats, so these options stay for good: with others every old key
    # would look as if it had been used for something else.
    text = json.dumps(facts, sort_keys=True, ensure_ascii=False, default=str)
    return hashlib.sha256(text.encode()).hexdigest()


def sealed(salt: str, text: str) -> str:
    """Return a hex fingerprint: only who has the server's secret can try texts against it."""
    return salted_hmac(salt, text, algorithm="sha256").hexdigest()


# It joins the transaction of who calls, or stands in one of its own: the chain's end is locked,
# which PostgreSQL does in a transaction only, and the worker that has sent a letter has none.
@transaction.atomic(savepoint=False)
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
    """Write the event of an action without a caller's id. `detail` holds codes and ids only."""
    event = Event(
        key=key,
        name=name,
        subject=subject,
        actor=actor,
        at=at,
        fingerprint=fingerprint(facts),
        detail=detail or {},
    )
    chain.link_event(event)
    event.save(force_insert=True)
    return event
