"""The report as a PDF/A-3a: tagged, titled, with the postings attached as CSV.

Nothing is fetched while it is made: a URL that is not data stops the rendering. A closed month
gives the same bytes each time.
"""

from __future__ import annotations

import base64
import hashlib
import warnings
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from django.template.loader import render_to_string
from django.utils.translation import gettext

from inventory.furniture import numbers
from inventory.models import Month
from inventory.months.queries import months, recovered
from inventory.months.queries.recovered import corrections, lines
from inventory.months.queries.recovered.shapes import Correction, Report
from inventory.months.reports import anchor, chart, headings, naming, tables, tabular
from inventory.months.reports.naming import workshop_language
from inventory.weighing.sums.traced import MassUncertainty

VARIANT = "pdf/a-3a"
INK = "#1d2429"
Progress = Callable[[int], None]


def report_pdf(report: Report, progress: Progress | None = None) -> bytes:
    """Render a report as PDF; `progress` is called with how far it is, in percent."""
    closed = months.closed(report.label)
    attached = tabular.postings_csv(lines.of_month(report))
    tell = progress or _silent
    tell(30)
    with workshop_language() as language:
        html = render_to_string("inventory/report/document.html", facts(report, closed, language))
    tell(40)
    return _rendered(html, report, closed, attached)


def _silent(percent: int) -> None:
    del percent


def facts(report: Report, closed: Month | None, language: str) -> dict[str, Any]:
    """Return what the document's template shows."""
    picture = base64.b64encode(chart.svg(report, INK).encode()).decode()
    return {
        "report": report,
        "closed": closed,
        "anchor": anchor.text(closed) if closed else "",
        "anchor_data": anchor.picture_data(closed) if closed else "",
        "first_day": months.parsed(report.label).first_day,
        "language": language,
        "tables": tables.every(report),
        "chart": f"data:image/svg+xml;base64,{picture}",
        "chart_words": chart.in_words(chart.bars(report)),
        "frames": frames(report),
        "closing_g": numbers.grams(report.total.closing),
        "carried": numbers.money(report.carried_minor),
        "trust": trust(report),
        "cautions": cautions(report),
        "closing_known": report.total.known_of("closing"),
        "corrections": corrected(report),
        "changed": changed(report.label),
        "figures_digest": recovered.digest(report),
        "postings_name": f"{naming.stem(report)}-postings.csv",
    }


@dataclass(frozen=True, slots=True)
class Told:
    """A correction, and the login name of who made it."""

    it: Correction
    by: str


def corrected(report: Report) -> list[Told]:
    """Return what the month puts right of earlier ones."""
    return _told(report.corrections)


def changed(label: str) -> list[Told]:
    """Return what later months have put right of this one since it was closed."""
    return _told(corrections.made_to(label)) if months.closed(label) else []


def _told(listed: Sequence[Correction]) -> list[Told]:
    names = corrections.people(listed)
    return [Told(one, names.get(one.actor or 0, "")) for one in listed]


def frames(report: Report) -> list[tuple[str, str, int]]:
    """Return frames as (key, words, count)."""
    return [
        (key, str(words), getattr(report.frames, key).quantity)
        for key, words in headings.FRAMES.items()
    ]


def trust(report: Report) -> dict[str, Any]:
    """Return the credited mass in grams, with its uncertainty."""
    found = report.trust
    return {
        "credited_g": numbers.grams(found.credited_mg),
        "known": MassUncertainty(found.expanded_ug, readings=found.readings),
        "readings": found.readings,
        "unweighed": found.unweighed_postings,
    }


def cautions(report: Report) -> list[tuple[str, str, int]]:
    """Return what speaks against the month's scales, in words: scale, objection, readings."""
    return [
        (scale, str(headings.FLAGS.get(flag, flag)), count) for scale, flag, count in report.flags
    ]


def _rendered(html: str, report: Report, closed: Month | None, attached: bytes) -> bytes:
    import weasyprint

    # No clock is read: the date of the close, or the month's end, gives the same bytes each time.
    created = closed.closed_at if closed else months.span(report.label)[1]
    attachment = weasyprint.Attachment(
        string=attached,
        name=f"{naming.stem(report)}-postings.csv",
        description=gettext("Postings of %(month)s") % {"month": report.label},
        created=created,
        modified=created,
        relationship="Data",
    )
    page = weasyprint.HTML(string=html, base_url=None, url_fetcher=_fetcher())
    with warnings.catch_warnings():
        # WeasyPrint 70 leaves its colour profile's file for the collector to close.
        warnings.simplefilter("ignore", ResourceWarning)
        made: bytes = page.write_pdf(
            pdf_variant=VARIANT,
            pdf_tags=True,
            attachments=[attachment],
            # Made from the text alone, so that the same report has the same identifier.
            pdf_identifier=hashlib.sha256(html.encode()).digest()[:16],
        )
    return made


def _fetcher() -> Any:
    """Return a fetcher that reads only `data:`; anything else stops the rendering.

    Left out in silence, a missing picture would be noticed by nobody.
    """
    from weasyprint.urls import FatalURLFetchingError, URLFetcher

    class OnlyData(URLFetcher):  # type: ignore[misc]
        def fetch(self, url: str, headers: dict[str, str] | None = None) -> Any:
            if not url.lower().startswith("data:"):
                raise FatalURLFetchingError(f"a report fetches nothing, but names {url[:80]}")
            return super().fetch(url, headers)

    return OnlyData(allowed_protocols=("data",), allow_redirects=False, fail_on_errors=True)
