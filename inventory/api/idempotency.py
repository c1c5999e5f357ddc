"""`Idempotency-Key` on every POST: the same request gets the same answer, once done.

Industry practice as in the (expired) IETF draft draft-ietf-httpapi-idempotency-key-header:
missing key 400, same key and other body 422, first one still running 409. The effect and the
stored answer commit together, so a crash leaves neither. Refusals are not stored.
"""

from __future__ import annotations

import hashlib
import re
import uuid
from datetime import timedelta
from typing import Any

from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from inventory.api.problems import problem
from inventory.models import AccessToken, RequestKey

KEPT = timedelta(days=7)
TAKEN_OVER_AFTER = timedelta(minutes=5)
_WRITTEN = re.compile(r'"?([\x21\x23-\x7e]{8,200})"?')
_SPACE = uuid.UUID("6a1f3a5e-93c4-4f0c-9a57-2f6d0e6b9b11")


class DeedView(APIView):
    """An API view whose POST is done at most once per key. Subclasses write `do_post`.

    `self.deed_key` is the UUID that the rule gets: derived from caller, path and key.
    """

    deed_key: uuid.UUID

    def do_post(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        raise NotImplementedError

    def post(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        match = _WRITTEN.fullmatch(request.headers.get("Idempotency-Key", ""))
        if match is None:
            return problem(
                "key-missing", 400, _("Use 8 to 200 visible characters, a fresh UUID is best.")
            )
        facts = {
            "caller": _caller(request),
            "method": "POST",
            "path": request.path[:200],
            "key": match.group(1),
        }
        self.deed_key = uuid.uuid5(_SPACE, "|".join(facts.values()))
        return self._once(request, facts, args, kwargs)

    def _once(self, request: Request, facts: dict[str, str], args: Any, kwargs: Any) -> Response:
        fingerprint = _fingerprint(request)
        if not _begin(facts, fingerprint):
            answer = _earlier(facts, fingerprint)
            if answer is not None:
                return answer
        row = RequestKey.objects.filter(**facts)
        try:
            with transaction.atomic():
                response = self.do_post(request, *args, **kwargs)
                row.update(status=response.status_code, body=response.data)
        except Exception:
            row.filter(status=None).delete()
            raise
        if response.status_code >= 400:
            row.delete()
        return response


def _caller(request: Request) -> str:
    if isinstance(request.auth, AccessToken):
        return f"token:{request.auth.pk}"
    if request.user.is_authenticated:
        return f"user:{request.user.pk}"
    return "anyone"


def _fingerprint(request: Request) -> str:
    digest = hashlib.sha256()
    for name, value in sorted(request.data.items()):
        read = getattr(value, "read", None)
        digest.update(f"{name}=".encode())
        digest.update(read() if read else repr(value).encode())
        if read:
            value.seek(0)
    return digest.hexdigest()


def _begin(facts: dict[str, str], fingerprint: str) -> bool:
    """Claim the key in a short transaction of its own. False: it is taken."""
    now = timezone.now()
    stale = RequestKey.objects.filter(
        **facts, status=None, fingerprint=fingerprint, created_at__lt=now - TAKEN_OVER_AFTER
    )
    if stale.update(created_at=now):
        return True
    RequestKey.objects.filter(**facts, expires_at__lt=now).delete()
    try:
        with transaction.atomic():
            RequestKey.objects.create(
                **facts, fingerprint=fingerprint, created_at=now, expires_at=now + KEPT
            )
    except IntegrityError:
        return False
    return True


def _earlier(facts: dict[str, str], fingerprint: str) -> Response | None:
    row = RequestKey.objects.filter(**facts).first()
    if row is None:
        return problem("key-in-flight", 409)
    if row.fingerprint != fingerprint:
        return problem("key-reused", 422)
    if row.status is None:
        return problem("key-in-flight", 409)
    response = Response(row.body, status=row.status)
    response["Idempotency-Replayed"] = "true"
    return response
