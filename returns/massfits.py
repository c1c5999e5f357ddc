"""What a frame's reading says about what lies on the scale, from the masters' masses."""

from __future__ import annotations

from typing import Any

from inventory import weighing
from inventory.models import Reading
from returns.models import Colourway, Component, Policy
from returns.sums import massfit
from returns.sums.grading.facts import PPM

MODELS_TRIED_MAX = 40
FITS_KEPT_MAX = 5


def massfit_of(
    *, reading: Reading, colourway: Colourway | None, is_stranger: bool
) -> dict[str, Any]:
    """The reading against the bill of materials as JSON; empty for a stranger's frame.

    Without a known model every active model is tried, and those the mass fits are named under
    `models`; the mass alone never chooses one.
    """
    if is_stranger:
        return {}
    bills = _bills(colourway)
    fits = {code: _fit(reading, bill) for code, bill in bills.items()}
    if colourway is not None:
        return next(iter(fits.values()), {})
    fitting = [code for code, fit in fits.items() if fit["verdict"] in ("complete", "missing")]
    return {"verdict": "cannot_tell", "models": fitting, "fits": []} if fits else {}


def _bills(colourway: Colourway | None) -> dict[str, list[massfit.Component]]:
    rows = Component.objects.select_related("model").order_by("model__code", "key")
    if colourway is None:
        rows = rows.filter(model__active=True)
    else:
        rows = rows.filter(model=colourway.model_id)
    bills: dict[str, list[massfit.Component]] = {}
    for row in rows:
        if row.model.code in bills or len(bills) < MODELS_TRIED_MAX:
            piece = massfit.Component(row.key, row.nominal_mg, row.spread_mg)
            bills.setdefault(row.model.code, []).append(piece)
    return bills


def _fit(reading: Reading, bill: list[massfit.Component]) -> dict[str, Any]:
    found = massfit.fit(
        mass_mg=reading.mass_mg,
        u_mg=max(weighing.measured(reading).u_mg, 0.001),
        components=bill,
        ratio_limit=max(1.0, Policy.the().massfit_ratio_ppm / PPM),
    )
    return {
        "verdict": found.verdict.value,
        "ratio": None if found.ratio > 1e6 else round(found.ratio, 2),
        "fits": [
            {
                "explanation": one.explanation.value,
                "missing": [list(keys) for keys in one.missing],
                "extra": [list(keys) for keys in one.extra],
                "expected_mg": one.expected_mg,
                "u_mg": _rounded(one.u_mg, 1),
                "z": _rounded(one.z, 2),
                "likelihood": one.likelihood,
                "posterior": round(one.posterior, 4),
            }
            for one in found.fits[:FITS_KEPT_MAX]
        ],
    }


def _rounded(figure: float | None, places: int) -> float | None:
    return None if figure is None else round(figure, places)
