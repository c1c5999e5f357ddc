"""The slip that goes into the parcel, as PDF. Nothing is fetched: all of it is in the template."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.template.loader import render_to_string
from django.utils.safestring import mark_safe
from django.utils.translation import get_language

from inventory.models import Workshop
from returns.filing.pages.forms import sent_abroad_to
from returns.filing.queries import frames as filed_frames
from returns.filing.rules import papers
from returns.models import Request

OWN_PICTURE = "data:image/png;base64,"
SIZES = {"a4": "A4", "a6": "A6"}


def make(filed: Request, *, size: str) -> bytes:
    """The slip as PDF bytes; `size` is a4 or a6. Drawn once for what it says."""
    return papers.kept(page(filed, size=size), drawn)


def drawn(markup: str) -> bytes:
    """A paper of ours as PDF bytes, from its HTML."""
    # Loaded when first needed: it is slow to import, and switches on a setting of the picture
    # library.
    from weasyprint import HTML

    html = HTML(string=markup, url_fetcher=_refusing())
    return bytes(html.write_pdf(pdf_variant="pdf/ua-1"))


def page(filed: Request, *, size: str) -> str:
    """The slip's HTML."""
    facts = {
        "filed": filed,
        "frames": filed_frames.of(filed),
        "workshop": Workshop.the(),
        "country": sent_abroad_to(filed),
        "size": size,
        "paper": SIZES[size],
        "language": get_language(),
        "qr": qr(f"{settings.BASE_URL}/go/{filed.reference}/"),
    }
    return render_to_string(f"returns/slip_{size}.html", facts)


def qr(address: str) -> str:
    """The QR code of an address as SVG, safe to stand in a template: it is drawn by us."""
    import segno

    # Level M bears some 15 % of damage, as parcels rub; four modules of quiet zone (ISO/IEC 18004).
    code = segno.make(address, error="m", micro=False)
    return mark_safe(str(code.svg_inline(omitsize=True, border=4)))


def _refusing() -> Any:
    """A fetcher that refuses every address, our own included."""
    from weasyprint.urls import FatalURLFetchingError, URLFetcher

    class Refusing(URLFetcher):  # type: ignore[misc]
        def fetch(self, url: str, headers: Any = None) -> Any:
            # The workshop's own logo stands in the paper itself; nothing is fetched for it.
            if url.startswith(OWN_PICTURE):
                return super().fetch(url, headers)
            raise FatalURLFetchingError(f"a slip fetches nothing, and not {url[:80]}")

    return Refusing(allowed_protocols=["data"], allow_redirects=False, fail_on_errors=True)
