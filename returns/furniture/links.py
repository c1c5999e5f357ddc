"""Secrets of private links: derived from a random salt under the server's key, never stored."""

from __future__ import annotations

import base64
import hashlib
import hmac
import secrets

from django.conf import settings
from django.utils.encoding import force_bytes

from returns.story.sums import codes

LENGTH_MAX = 80


def fresh_salt() -> str:
    """Return a new salt of 192 random bits."""
    return secrets.token_hex(24)


def derived(server_key: str | bytes, salt: str) -> str:
    """Return the secret of a salt under one key: HMAC-SHA256, 43 characters for 256 bits."""
    message = f"hingeback private link {salt}".encode()
    digest = hmac.new(force_bytes(server_key), message, hashlib.sha256).digest()
    return base64.urlsafe_b64encode(digest).rstrip(b"=").decode()


def hashed(salt: str) -> str:
    """Return what is stored of the secret under today's key, and looked up by."""
    return codes.hash_secret(derived(settings.SECRET_KEY, salt))


def secret(salt: str, stored_hash: str) -> str | None:
    """Return the secret with this hash, under today's key or an older one; None if its key is gone.

    None opens nothing: whoever holds the salt needs a link made anew.
    """
    for server_key in (settings.SECRET_KEY, *settings.SECRET_KEY_FALLBACKS):
        found = derived(server_key, salt)
        if hmac.compare_digest(codes.hash_secret(found), stored_hash):
            return found
    return None
