"""How tablets and phones reach the workshop: its address, a code to scan, and its certificate."""

from __future__ import annotations

import hashlib
import ssl
from typing import Any
from urllib.parse import urlsplit

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.utils.safestring import mark_safe
from django.views.decorators.http import require_safe

from inventory.errors import NotFound

_AUTHORITY = ("pki", "authorities", "local", "root.crt")
_COMMAND = "bash deploy/up.sh --empty --network"
_LOOPBACK = {"127.0.0.1", "localhost", "::1"}


def facts() -> dict[str, Any]:
    """What the set-up says of it; `qr` is empty while only this machine reaches the workshop."""
    address = f"{settings.BASE_URL}/enter/"
    is_open = urlsplit(settings.BASE_URL).hostname not in _LOOPBACK
    return {
        "address": address,
        "command": _COMMAND,
        "qr": mark_safe(_qr(address)) if is_open else "",  # drawn by us
        "fingerprint": _fingerprint(_certificate()),
    }


@require_safe
def authority(request: HttpRequest) -> HttpResponse:
    """Hand out the certificate of the workshop's own authority, which is no secret. Else 404."""
    del request
    certificate = _certificate()
    if not certificate:
        raise NotFound
    answer = HttpResponse(certificate, content_type="application/x-x509-ca-cert")
    answer["Content-Disposition"] = 'attachment; filename="workshop-authority.crt"'
    return answer


def _certificate() -> str:
    file = settings.NETWORK_DIR.joinpath(*_AUTHORITY)
    try:
        return str(file.read_text(encoding="ascii"))
    except FileNotFoundError:
        return ""


def _fingerprint(certificate: str) -> str:
    """SHA-256 of the certificate, in pairs as devices show it; empty without one."""
    if not certificate:
        return ""
    digest = hashlib.sha256(ssl.PEM_cert_to_DER_cert(certificate)).digest()
    return "SHA-256 " + ":".join(f"{byte:02X}" for byte in digest)


def _qr(address: str) -> str:
    # Slow to import, and needed on this page alone.
    import segno

    return str(segno.make(address, error="m", micro=False).svg_inline(omitsize=True, border=4))
