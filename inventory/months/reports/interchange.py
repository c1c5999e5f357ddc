"""The report as JSON: the canonical figures with their digest, and the close they belong to."""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import Any

from inventory.masters import queries as practice
from inventory.months.queries import months, recovered
from inventory.months.queries.recovered import Report, corrections

NOTICE = "everything here is invented"


def report_json(report: Report) -> bytes:
    """Return UTF-8 JSON. Masses are whole milligrams, money whole minor units; flows are signed.

    `figures_sha256` is taken over the canonical form (sorted keys, no spaces) of `figures`.
    """
    closed = months.closed(report.label)
    document: dict[str, Any] = {"practice": NOTICE} if practice.is_on() else {}
    document |= {
        "edition": report.edition,
        "month": report.label,
        "state": "closed" if closed else "open",
        "close": None
        if closed is None
        else {
            "digest": closed.digest,
            "previous_digest": closed.previous_digest,
            "last_movement": closed.last_number,
            # None in a month that was closed before anybody was asked.
            "acknowledged": closed.figures.get("acknowledged"),
        },
        # Beside the figures and not among them: they stay as they were closed.
        "changed_since_closing": changed_since(report.label) if closed else [],
        "figures_sha256": recovered.digest(report),
        # Through the canonical text, so that whoever checks the digest starts from these very
        # figures.
        "figures": json.loads(recovered.canonical(report)),
    }
    return (json.dumps(document, indent=1, ensure_ascii=False, sort_keys=True) + "\n").encode()


def changed_since(label: str) -> list[dict[str, Any]]:
    """Return what later months have put right of a closed one, in plain values."""
    return [asdict(one) for one in corrections.made_to(label)]
