"""Machine tokens: shown once, stored as a SHA-256, with scopes and an expiry."""

from __future__ import annotations

import hashlib

from django.contrib.auth.models import User
from django.utils import timezone
from django.utils.translation import gettext as _
from rest_framework import exceptions
from rest_framework.authentication import BaseAuthentication, get_authorization_header
from rest_framework.request import Request

from inventory.models import AccessToken


class TokenAuthentication(BaseAuthentication):
    """`Authorization: Bearer hb_...`"""

    def authenticate_header(self, request: Request) -> str:
        return "Bearer"

    def authenticate(self, request: Request) -> tuple[User, AccessToken] | None:
        words = get_authorization_header(request).split()
        if not words or words[0].lower() != b"bearer":
            return None
        if len(words) != 2:
            raise exceptions.AuthenticationFailed(_("Send “Authorization: Bearer” and one token."))
        # Looked up by its hash: no secret is compared character by character, so there is no time
        # to measure.
        digest = hashlib.sha256(words[1]).hexdigest()
        token = AccessToken.objects.select_related("user").filter(digest=digest).first()
        if token is None or token.revoked_at or token.expires_at <= timezone.now():
            # One answer for all three: which of them it is would tell a stranger that the token was
            # real.
            raise exceptions.AuthenticationFailed(_("This token is unknown, revoked or expired."))
        if not token.user.is_active:
            raise exceptions.AuthenticationFailed(_("This token's owner is switched off."))
        return token.user, token
