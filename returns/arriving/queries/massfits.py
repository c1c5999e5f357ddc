"""What a frame's reading says about what lies on the scale, from the masters' masses."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from django.db.models import Case, Q, When

from inventory.models import Reading
from inventory.weighing.queries import readings
from returns.arriving.sums import mass_hypotheses, massfit
from returns.catalogue import queries as catalogue
from returns.grading.sums.facts import PPM
from returns.models import Colourway, Component, FrameModel, Policy

MODELS_TRIED_MAX = 40
FITS_KEPT_MAX = 5
CANNOT_TELL = "cannot_tell"
# Between the code of a model and the look that weighs otherwise; no code has it.
LOOK = "/"


def massfit_of(
    *, reading: Reading, colourway: Colourway | None, is_stranger: bool
) -> dict[str, Any]:
    """Weigh the reading up against the bill of materials, as JSON; {} for a stranger's frame.

    Without a known model every active model is tried, and those the mass fits are named under
    `models`; the mass alone never chooses one.
    """
    if is_stranger:
        return {}
    mass_mg, u_mg = reading.mass_mg, readings.measured(reading).u_mg
    if colourway is not None:
        return against_look(mass_mg=mass_mg, u_mg=u_mg, colourway=colourway)
    fits = {code: against(mass_mg=mass_mg, u_mg=u_mg, bill=bill) for code, bill in _bills().items()}
    fitting = [code for code, fit in fits.items() if fit["verdict"] in ("complete", "missing")]
    # A model fits when one of its looks does.
    models = list(dict.fromkeys(code.partition(LOOK)[0] for code in fitting))
    return {"verdict": CANNOT_TELL, "models": models, "fits": []} if fits else {}


def against_look(*, mass_mg: int, u_mg: float, colourway: Colourway) -> dict[str, Any]:
    """Weigh a mass up against a colourway's bill and the pieces of the other models; {} without a
    bill."""
    bills = _bills(colourway.model)
    own = _own(colourway)
    others = [
        replace(piece, of=code)
        for code, other in bills.items()
        if code.partition(LOOK)[0] != colourway.model.code
        for piece in other
    ]
    return against(mass_mg=mass_mg, u_mg=u_mg, bill=own, others=others) if own else {}


def bills_for(
    model: FrameModel | None, colourway: Colourway | None
) -> dict[str, list[mass_hypotheses.Component]]:
    """Return the bill of a frame's colourway; of every look of its model where only that is known,
    and of every active model where nothing is. Looks of the same masses stand there once."""
    if colourway is not None:
        own = _own(colourway)
        return {colourway.model.code: own} if own else {}
    bills = _bills(model)
    if model is None:
        return bills
    return {code: bill for code, bill in bills.items() if code.partition(LOOK)[0] == model.code}


def _own(colourway: Colourway) -> list[mass_hypotheses.Component]:
    return [_piece(made.piece) for made in catalogue.bill_of(colourway).values()]


def _bills(own: FrameModel | None = None) -> dict[str, list[mass_hypotheses.Component]]:
    """The bills of the active models, and of the frame's own, which comes first; after each
    model's the bills of its looks whose components have masses of their own."""
    rows = (
        Component.objects.select_related("model")
        .filter(Q(model__active=True) | Q(model=own))
        .order_by(Case(When(model=own, then=0), default=1), "model__code", "key")
    )
    looks = _looks_of_other_masses()
    bills: dict[str, list[mass_hypotheses.Component]] = {}
    for row in rows:
        # The limit counts models and not rows, so that no bill is cut short: a bill without its
        # last piece would call a whole frame too heavy.
        if row.model.code in bills or len(bills) < MODELS_TRIED_MAX:
            bills.setdefault(row.model.code, []).append(_piece(row))
            for look, pieces in looks.get(row.model.pk, {}).items():
                bills.setdefault(f"{row.model.code}{LOOK}{look}", pieces)
    return bills


def _looks_of_other_masses() -> dict[int, dict[int, list[mass_hypotheses.Component]]]:
    """Return by model and colourway the bills of the looks that differ in mass from their model."""
    rows = Colourway.objects.filter(differing__nominal_mg__isnull=False).distinct()
    ways = list(rows.select_related("polymer", "colour")[:MODELS_TRIED_MAX])
    bills = catalogue.bills_of(ways)
    found: dict[int, dict[int, list[mass_hypotheses.Component]]] = {}
    for way in ways:
        pieces = [_piece(made.piece) for made in bills[way.pk].values()]
        found.setdefault(way.model_id, {})[way.pk] = pieces
    return found


def _piece(row: Component) -> mass_hypotheses.Component:
    return mass_hypotheses.Component(row.key, row.nominal_mg, row.spread_mg)


def against(
    *,
    mass_mg: int,
    u_mg: float,
    bill: Sequence[mass_hypotheses.Component],
    others: Sequence[mass_hypotheses.Component] = (),
) -> dict[str, Any]:
    """Weigh a mass up against a bill, as JSON, at the ratio that the owner asks for.

    `mass_mg` and `u_mg` (standard uncertainty) are milligrams. Raises MassFitError.
    """
    found = massfit.fit(
        mass_mg=mass_mg,
        # The sums divide by the uncertainty and refuse 0; a microgram decides nothing.
        u_mg=max(u_mg, 0.001),
        components=bill,
        others=others[: massfit.OTHERS_MAX],
        ratio_limit=max(1.0, Policy.the().massfit_ratio_ppm / PPM),
    )
    return {
        "verdict": found.verdict or CANNOT_TELL,
        # JSON has no infinity, and beyond a million nobody reads the figure any more.
        "ratio": None if found.ratio > 1e6 else round(found.ratio, 2),
        "fits": [
            {
                "explanation": one.explanation.value,
                "missing": [list(keys) for keys in one.missing],
                "extra": [list(keys) for keys in one.extra],
                "exchanged": [
                    {"gone": list(change.gone), "come": list(change.come), "of": change.of}
                    for change in one.exchanged
                ],
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
