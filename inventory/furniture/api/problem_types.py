"""Every kind of problem that the API can answer with: status, title, and what to do about it.

The last part of a problem's type URI is a key of `TYPES`; the page under that URI prints this
table.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _


@dataclass(frozen=True, slots=True)
class ProblemType:
    """One row: the usual HTTP status, a title that never changes, and advice."""

    status: int
    title: str | Promise
    advice: str | Promise


TYPES: Final[dict[str, ProblemType]] = {
    "bad-input": ProblemType(
        400,
        _("The request holds something that must be put right"),
        _("“errors” names each field by a JSON pointer and says what to put right. Send it again."),
    ),
    "not-acknowledged": ProblemType(
        409,
        _("The month has warnings that nobody has acknowledged"),
        _("“warnings” lists them. Send “acknowledged” with why it may be closed all the same."),
    ),
    "key-missing": ProblemType(
        400,
        _("Send an Idempotency-Key header with every POST"),
        _("Make a fresh UUID for each thing that you want done, and keep it for retries."),
    ),
    "hingeback-error": ProblemType(
        400, _("This cannot be done"), _("“detail” says why. Change the request.")
    ),
    "not-signed-in": ProblemType(
        401,
        _("Sign in or send a token"),
        _("Send “Authorization: Bearer” and a token that is neither expired nor revoked."),
    ),
    "forbidden": ProblemType(
        403,
        _("Your role or token may not do this"),
        _("Ask the owner for a role or a token with the scope that the address names."),
    ),
    "second-person-needed": ProblemType(
        403,
        _("A second person must confirm"),
        _("Somebody other than the one who proposed it must confirm, standing at the box."),
    ),
    "not-found": ProblemType(
        404,
        _("Nothing is under this address or code"),
        _("Check the address against the description of the API, and the code against its label."),
    ),
    "method-not-allowed": ProblemType(
        405,
        _("This address does not take this method"),
        _("The “Allow” header names the methods that it takes."),
    ),
    "not-acceptable": ProblemType(
        406,
        _("No media type that you accept is on offer"),
        _("Accept application/json and application/problem+json."),
    ),
    "conflict": ProblemType(
        409,
        _("The present state does not allow this"),
        _("Read the thing again; “detail” says what stands in the way."),
    ),
    "stale-state": ProblemType(
        409,
        _("The thing is no longer in the state this step needs"),
        _("Somebody was faster, or the step is not next. Read the thing again."),
    ),
    "wrong-recipe": ProblemType(
        409,
        _("This kind of movement may not go between these places"),
        _("Choose the movement that belongs to what really happened."),
    ),
    "not-enough": ProblemType(
        409,
        _("A place does not hold that much"),
        _("Weigh or count the place; if the books are wrong, enter the count first."),
    ),
    "already-reversed": ProblemType(
        409,
        _("The movement is reversed already"),
        _("Nothing is to be done: read the movement and its reversal."),
    ),
    "month-closed": ProblemType(
        409,
        _("The month is closed"),
        _("A closed month never changes. What turns up late goes into the open month."),
    ),
    "month-not-ready": ProblemType(
        409,
        _("The month cannot be closed yet"),
        _("“reasons” lists what dangles. Deal with each, then close again."),
    ),
    "not-open-yet": ProblemType(
        409,
        _("The workshop takes no requests yet"),
        _("Nothing was filed. The owner finishes the set-up's needed steps; then send it again."),
    ),
    "wrong-scan": ProblemType(
        409,
        _("Another label was scanned than the one that is needed"),
        _("“detail” names both. Take the right thing in the hand and send the code of its label."),
    ),
    "box-changed": ProblemType(
        409,
        _("The box changed since the run was proposed"),
        _("Look at the box, and propose the run again."),
    ),
    "key-in-flight": ProblemType(
        409,
        _("The first request with this Idempotency-Key is still running"),
        _("Wait a moment and send the same request again."),
    ),
    "too-large": ProblemType(
        413,
        _("The body is larger than what is taken here"),
        _("Send less in one request, or smaller files."),
    ),
    "unsupported-media-type": ProblemType(
        415,
        _("Send the body in a media type that is taken here"),
        _("Send application/json; photos go as multipart/form-data."),
    ),
    "key-reused": ProblemType(
        422,
        _("This Idempotency-Key was used with another body"),
        _("Make a fresh key for each different thing; reuse one only to repeat."),
    ),
    "too-many-requests": ProblemType(
        429,
        _("Too many requests; wait and try again"),
        _("“Retry-After” says how many seconds to wait."),
    ),
    "append-only": ProblemType(
        500,
        _("What is written here is never changed"),
        _("This is a fault in the program: tell whoever runs the service."),
    ),
    "internal": ProblemType(
        500,
        _("Something failed that should not have"),
        _("Nothing was changed. Send the same request with the same key again later."),
    ),
    "busy": ProblemType(
        503,
        _("The database is busy or away"),
        _("Nothing was changed. Wait as long as “Retry-After” says, and repeat with the same key."),
    ),
}
