"""`Idempotency-Key` on every POST: the same request gets the same answer, once done.

Industry practice as in the (expired) IETF draft draft-ietf-httpapi-idempotency-key-header:
missing key 400, same key and other body 422, first one still running 409 (after a wait for its
end). The claim of the key, the effect and the stored answer are one transaction, so a crash or a
kill leaves none of them and the key is free at once. Refusals are not stored.
"""

from __future__ import annotations

import hmac
import json
import re
import uuid
from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

from django.conf import settings
from django.core.files import File
from django.db import IntegrityError, OperationalError, transaction
from django.http import QueryDict
from django.utils import timezone
from django.utils.translation import gettext as _
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from inventory.furniture.api.problems import problem
from inventory.models import AccessToken, RequestKey

KEPT = timedelta(days=7)
PRUNED_AT_ONCE = 500
# A structured string in quotes or the bare text: visible ASCII without the quote itself (0x22).
_WRITTEN = re.compile(r'"?([\x21\x23-\x7e]{8,200})"?')
# Any UUID would do, but only ever this one: the rules know repeats by the keys derived from it.
_SPACE = uuid.UUID("6a1f3a5e-93c4-4f0c-9a57-2f6d0e6b9b11")


class OncePerKey:
    """Mixed into a view: its POST is done at most once per key. Subclasses write `do_post`.

    `action_key` is the UUID that the rule gets: derived from caller, path and key.
    """

    action_key: uuid.UUID

    def do_post(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        raise NotImplementedError

    def kept(self, answer: Any) -> Any:
        """Return what is stored of an answer: a view that hands out a secret leaves it out here."""
        return answer

    def caller(self, request: Request, /) -> str:
        """Return whose key it is: the same key of another caller is another key."""
        if isinstance(request.auth, AccessToken):
            return f"token:{request.auth.pk}"
        return f"user:{request.user.pk}" if request.user.is_authenticated else "anyone"

    def replayed(self, stored: Any) -> Any:
        """Return the answer again, from what was stored of it."""
        return stored

    def post(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        match = _WRITTEN.fullmatch(request.headers.get("Idempotency-Key", ""))
        if match is None:
            return problem(
                "key-missing", detail=_("Use 8 to 200 visible characters, a fresh UUID is best.")
            )
        facts = {
            "caller": self.caller(request),
            "method": "POST",
            "path": request.path[:200],
            "key": match.group(1),
        }
        # The rule's own key as well: should the stored answer be gone, the rule still knows the
        # repeat.
        self.action_key = uuid.uuid5(_SPACE, "|".join(facts.values()))
        return self._once(request, facts, args, kwargs)

    def _once(self, request: Request, facts: dict[str, str], args: Any, kwargs: Any) -> Response:
        fingerprint = _fingerprint(request)
        try:
            with transaction.atomic():
                claim = _claim(facts, fingerprint)
                response = self.do_post(request, *args, **kwargs)
                RequestKey.objects.filter(pk=claim.pk).update(
                    status=response.status_code, body=_plain(self.kept(response.data))
                )
        except _Taken:
            return self._earlier(facts, fingerprint)
        return response

    def _earlier(self, facts: dict[str, str], fingerprint: str) -> Response:
        row = RequestKey.objects.filter(**facts).first()
        if row is not None and row.fingerprint != fingerprint:
            return problem("key-reused")
        # Nothing to be read: the first one still runs past our patience, or was refused since. "Try
        # again" is right for both.
        if row is None or row.status is None:
            return problem("key-in-flight")
        response = Response(self.replayed(row.body), status=row.status)
        response["Idempotency-Replayed"] = "true"
        return response


def prune(at: datetime) -> int:
    """Delete the oldest answers whose time is up, a bounded batch. Returns how many."""
    old = RequestKey.objects.filter(expires_at__lt=at).order_by("expires_at")
    oldest = list(old.values_list("pk", flat=True)[:PRUNED_AT_ONCE])
    return RequestKey.objects.filter(pk__in=oldest).delete()[0]


def _plain(answer: Any) -> Any:
    """Return the answer as JSON has it: what is replayed then equals what was sent."""
    return json.loads(JSONRenderer().render(answer) or b"null")


def _fingerprint(request: Request) -> str:
    """Return a keyed hash of the body; a stored one gives nothing away about who filed what."""
    seal = hmac.new(settings.SECRET_KEY.encode(), digestmod="sha256")
    data = request.data
    if isinstance(data, QueryDict):
        data = {name: [_content(value) for value in values] for name, values in data.lists()}
    seal.update(json.dumps(data, sort_keys=True).encode())
    return seal.hexdigest()


def _content(value: Any) -> Any:
    if not isinstance(value, File):
        return value
    seal = hmac.new(settings.SECRET_KEY.encode(), digestmod="sha256")
    for chunk in value.chunks():
        seal.update(chunk)
    # The view reads the file after this, from its beginning.
    value.seek(0)
    return seal.hexdigest()


def _claim(facts: Mapping[str, str], fingerprint: str) -> RequestKey:
    """Write the key's row, first of all in the transaction of what it stands for.

    Who comes second waits here for the end of the first: PostgreSQL at the unique index, until its
    `lock_timeout`, SQLite at the beginning of the transaction. Raises `_Taken`.
    """
    now = timezone.now()
    row = RequestKey(**facts, fingerprint=fingerprint, created_at=now, expires_at=now + KEPT)
    try:
        # The unique constraint decides, not a look before: two may look at once and see nothing.
        row.save(force_insert=True)
    except IntegrityError as error:
        raise _Taken from error
    except OperationalError as error:
        if _is_lock_timeout(error):
            raise _Taken from error
        raise
    return row


def _is_lock_timeout(error: OperationalError) -> bool:
    """PostgreSQL's `lock_not_available`: somebody else holds the key for longer than we wait."""
    return getattr(error.__cause__, "sqlstate", None) == "55P03"


class _Taken(Exception):
    """The key belongs to an earlier request, done or still running."""
