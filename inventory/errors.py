"""The ledger room's errors.

HingebackError
├── BadInput                  the caller can mend it: says what to do
│   ├── WrongScan             another label was scanned than the one that is needed
│   └── NotAcknowledged       a month with warnings is closed only with a reason
├── NotFound
├── Conflict
│   ├── KeyReused             same client id, other content
│   ├── StaleState            somebody got there first, or it is not in the right state
│   ├── WrongRecipe           a movement kind may not move between these places
│   ├── NotEnough             a place would go below zero
│   ├── AlreadyReversed
│   ├── MonthClosed
│   ├── MonthNotReady         closing refused, with reasons
│   ├── BoxChanged
│   └── NotOpenYet            the workshop is still being set up
├── Forbidden
│   └── SecondPersonNeeded
└── AppendOnly                a program tried to change what is written once

Each class has a stable `code`: it becomes the problem type, the message key and the log event.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.utils.translation import gettext as _


class HingebackError(Exception):
    """Base of every error that the rooms raise on purpose. `status` is the HTTP answer."""

    code = "hingeback-error"
    status = 400

    others: Sequence[BadInput] = ()
    """What else has to be put right, so that all faults of a form come in one round."""

    def __init__(self, message: str = "", **facts: Any) -> None:
        self.message = message or self.default_message()
        self.facts = facts
        super().__init__(self.message)

    def default_message(self) -> str:
        return _("This cannot be done.")


class BadInput(HingebackError):
    """A value that the caller can mend. `field` names it when there is one."""

    code = "bad-input"
    status = 400

    def __init__(self, message: str = "", *, field: str = "", **facts: Any) -> None:
        self.field = field
        super().__init__(message, **facts)


# A 409, although it is a kind of BadInput: the request is well formed, and what disagrees with it
# is the thing in the hand.
class WrongScan(BadInput):
    """The label in the hand is not the one that the action needs; the message names both."""

    code = "wrong-scan"
    status = 409


class NotAcknowledged(BadInput):
    """A month has warnings, and nobody has said why it may be closed all the same."""

    code = "not-acknowledged"
    status = 409


def raise_all(faults: Sequence[BadInput]) -> None:
    """Raise the first of these faults with the others behind it; do nothing without a fault."""
    if faults:
        faults[0].others = faults[1:]
        raise faults[0]


class NotFound(HingebackError):
    code = "not-found"
    status = 404

    def default_message(self) -> str:
        return _("There is nothing under this code. Check it and try again.")


class Conflict(HingebackError):
    code = "conflict"
    status = 409


class KeyReused(Conflict):
    code = "key-reused"
    status = 422

    def default_message(self) -> str:
        return _("This entry's id was used before with other content. Start the entry anew.")


class StaleState(Conflict):
    code = "stale-state"

    def default_message(self) -> str:
        return _("Somebody was faster, or this step is not next. Look at it as it is now.")


class WrongRecipe(Conflict):
    code = "wrong-recipe"


class NotEnough(Conflict):
    code = "not-enough"


class AlreadyReversed(Conflict):
    code = "already-reversed"

    def default_message(self) -> str:
        return _("This movement is reversed already.")


class MonthClosed(Conflict):
    code = "month-closed"


class MonthNotReady(Conflict):
    """The month cannot be closed yet; `facts['reasons']` lists what is still open."""

    code = "month-not-ready"


class BoxChanged(Conflict):
    code = "box-changed"

    def default_message(self) -> str:
        return _("The box has changed since the run was proposed. Propose it again.")


class NotOpenYet(Conflict):
    code = "not-open-yet"

    def default_message(self) -> str:
        return _("This workshop is still being set up. Please come back in a few days.")


class Forbidden(HingebackError):
    code = "forbidden"
    status = 403


class SecondPersonNeeded(Forbidden):
    code = "second-person-needed"

    def default_message(self) -> str:
        return _("Somebody other than the person who proposed it must confirm at the box.")


# The only one that is a program's fault and nobody's input: hence the 500.
class AppendOnly(HingebackError):
    code = "append-only"
    status = 500

    def default_message(self) -> str:
        return _("What is written here is never changed; post a reversal instead.")
