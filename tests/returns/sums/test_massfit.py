"""Identification by mass. All vectors are constructed; densities are checked against scipy."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, stats

from returns.sums import massfit
from returns.sums.massfit import Component, Explanation, MassFitError, Priors, Verdict, fit

FRONT = Component("front", 11_000, 60)
TEMPLES = (Component("temple.left", 4_500, 40), Component("temple.right", 4_500, 40))
SCREWS = Component("screw", 120, 3, count=2)
FRAME = (FRONT, *TEMPLES, SCREWS)
TOTAL = 20_240


def test_nominal_mass_is_complete() -> None:
    found = fit(mass_mg=TOTAL, u_mg=10, components=FRAME)
    assert found.verdict is Verdict.COMPLETE
    assert found.best.z == 0
    assert found.best.expected_mg == TOTAL


def test_variances_add_not_spreads() -> None:
    """60^2 + 2 x 40^2 + 2 x 3^2 + 10^2 = 6918 by hand."""
    assert fit(mass_mg=TOTAL, u_mg=10, components=FRAME).best.u_mg == pytest.approx(6918**0.5)


def test_a_missing_part_takes_its_spread_with_it() -> None:
    found = fit(mass_mg=TOTAL - 4_500, u_mg=10, components=FRAME)
    assert found.verdict is Verdict.MISSING
    assert found.best.u_mg == pytest.approx((6918 - 1600) ** 0.5)


def test_temples_of_equal_mass_are_named_together() -> None:
    found = fit(mass_mg=TOTAL - 4_480, u_mg=10, components=FRAME)
    assert found.best.missing == (("temple.left",), ("temple.right",))


def test_two_missing_parts_are_found() -> None:
    found = fit(mass_mg=TOTAL - 9_000, u_mg=10, components=FRAME)
    assert found.verdict is Verdict.MISSING
    assert found.best.missing == (("temple.left", "temple.right"),)


def test_screw_within_the_spread_of_the_frame_cannot_be_told() -> None:
    """One screw is 1.4 standard uncertainties: both explain the reading about as well."""
    found = fit(mass_mg=TOTAL - 200, u_mg=10, components=FRAME)
    assert found.verdict is Verdict.CANNOT_TELL
    assert found.ratio < 3


def test_screw_is_found_missing_when_parts_are_close_to_nominal() -> None:
    exact = tuple(replace(part, spread_mg=5) for part in FRAME)
    found = fit(mass_mg=TOTAL - 120, u_mg=2, components=exact)
    assert (found.verdict, found.best.missing) == (Verdict.MISSING, (("screw",),))


def test_excess_is_foreign() -> None:
    assert fit(mass_mg=TOTAL + 2_000, u_mg=10, components=FRAME).verdict is Verdict.FOREIGN


def test_a_second_arm_in_the_tray_is_named_as_a_part_too_many() -> None:
    found = fit(mass_mg=TOTAL + 4_510, u_mg=10, components=FRAME)
    assert found.verdict is Verdict.EXTRA
    assert found.best.extra == (("temple.left",), ("temple.right",))
    assert found.best.missing == ()
    assert found.best.expected_mg == TOTAL + 4_500
    # Variances add up though the mass is more: 6918 + 1600 by hand.
    assert found.best.u_mg == pytest.approx((6918 + 1600) ** 0.5)


def test_two_parts_too_many_are_named_together() -> None:
    exact = tuple(replace(part, spread_mg=5) for part in FRAME)
    found = fit(mass_mg=TOTAL + 240, u_mg=2, components=exact)
    assert (found.verdict, found.best.extra) == (Verdict.EXTRA, (("screw", "screw"),))


def test_three_missing_parts_are_found() -> None:
    exact = tuple(replace(part, spread_mg=5) for part in FRAME)
    found = fit(mass_mg=TOTAL - 9_120, u_mg=2, components=exact)
    assert found.verdict is Verdict.MISSING
    assert found.best.missing == (("temple.left", "temple.right", "screw"),)


def test_two_sets_that_explain_a_deficit_about_as_well_cannot_be_told_apart() -> None:
    """A lens pair of 4 490 mg against an arm of 4 500 mg, on a scale that knows 10 mg."""
    front = Component("front", 11_000, 2)
    bill = (front, Component("temple", 4_500, 5), Component("lens", 2_245, 5, count=2))
    found = fit(mass_mg=11_000 + 4_506, u_mg=10, components=bill)
    assert found.verdict is Verdict.CANNOT_TELL
    assert {one.missing for one in found.fits[:2]} == {(("temple",),), (("lens", "lens"),)}


@given(st.integers(4_000, 32_000), st.floats(5, 300))
def test_posteriors_are_what_listing_every_piece_gives(mass: int, u: float) -> None:
    """Derived: Bayes' rule over every single piece by name, densities from scipy."""
    from itertools import combinations

    pieces = [part for part in FRAME for _ in range(part.count)]
    spread = sum(part.spread_mg**2 for part in pieces) + u**2
    priors, weights = Priors(), dict.fromkeys(Explanation, 0.0)

    def density(change: int, variance: float) -> float:
        return float(stats.norm.pdf(mass, TOTAL + change, variance**0.5))

    weights[Explanation.COMPLETE] = priors.complete * density(0, spread)
    for sign, size, share in priors.by_pieces:
        sets = list(combinations(pieces, size))
        kind = Explanation.EXTRA if sign > 0 else Explanation.MISSING
        for chosen in sets:
            own = sum(part.spread_mg**2 for part in chosen)
            change = sign * sum(part.nominal_mg for part in chosen)
            weights[kind] += share / len(sets) * density(change, spread + sign * own)
    blur = stats.norm.cdf([mass - TOTAL, mass - 2 * TOTAL], 0, spread**0.5)
    weights[Explanation.FOREIGN] = priors.foreign * float(blur[0] - blur[1]) / TOTAL
    weights[Explanation.UNEXPLAINED] = priors.unexplained / (2 * max(TOTAL, mass))
    found = fit(mass_mg=mass, u_mg=u, components=FRAME, ratio_limit=1)
    total = sum(weights.values())
    for kind in (Explanation.COMPLETE, Explanation.FOREIGN, Explanation.UNEXPLAINED):
        got = sum(one.posterior for one in found.fits if one.explanation is kind)
        shown = any(one.explanation is kind for one in found.fits)
        assert not shown or got == pytest.approx(weights[kind] / total, rel=1e-6, abs=1e-9)


def test_deficit_no_part_accounts_for_is_unexplained_and_cannot_be_told() -> None:
    found = fit(mass_mg=TOTAL - 2_300, u_mg=10, components=FRAME)
    assert found.best.explanation is Explanation.UNEXPLAINED
    assert found.verdict is Verdict.CANNOT_TELL


@pytest.mark.parametrize(("offset", "verdict"), [(0.999, "cannot_tell"), (1.001, "complete")])
def test_ratio_just_under_and_over_the_limit(offset: float, verdict: str) -> None:
    free = fit(mass_mg=TOTAL - 150, u_mg=10, components=FRAME)
    assert free.best.explanation is Explanation.COMPLETE
    limited = fit(mass_mg=TOTAL - 150, u_mg=10, components=FRAME, ratio_limit=free.ratio / offset)
    assert limited.verdict.value == verdict


def test_likelihood_of_a_point_hypothesis_is_the_normal_density() -> None:
    best = fit(mass_mg=TOTAL + 50, u_mg=10, components=FRAME).best
    assert best.likelihood == pytest.approx(stats.norm.pdf(50, 0, 6918**0.5), rel=1e-12)


def test_foreign_density_integrates_to_one() -> None:
    from math import exp

    area, _ = integrate.quad(
        lambda excess: exp(massfit._log_uniform_blur(excess, 1000, 50)), -300, 1300, limit=200
    )
    assert area == pytest.approx(1, abs=1e-8)


def test_priors_are_shared_over_pieces_and_kept_whole() -> None:
    """Five pieces: a screw of either kind gets 2/5 of the share for one missing."""
    hypotheses = list(massfit._hypotheses(FRAME, Priors(), 10))
    assert sum(hypothesis.prior for hypothesis in hypotheses) == pytest.approx(1)
    screw = next(h for h in hypotheses if h.sets == (("screw",),))
    assert screw.prior == pytest.approx(0.10 * 2 / 5)


def test_joined_hypotheses_keep_both_their_priors() -> None:
    joined = massfit._merged(massfit._hypotheses(FRAME, Priors(), 10))
    temple = next(h for h in joined if h.sets == (("temple.left",), ("temple.right",)))
    assert temple.prior == pytest.approx(0.10 * 2 / 5)
    assert sum(hypothesis.prior for hypothesis in joined) == pytest.approx(1)


def test_pair_of_a_single_piece_is_not_considered() -> None:
    hypotheses = massfit._hypotheses(FRAME, Priors(), 10)
    assert (("front", "front"),) not in [hypothesis.sets for hypothesis in hypotheses]


def test_forty_components_stay_bounded() -> None:
    many = [Component(f"c{n}", 100 + 7 * n, 1, count=2) for n in range(40)]
    total = sum(part.nominal_mg * 2 for part in many)
    assert len(fit(mass_mg=total, u_mg=1, components=many).fits) == massfit.FITS_SHOWN_MAX


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"mass_mg": 0}, "reading"),
        ({"u_mg": 0}, "reading"),
        ({"components": ()}, "components"),
        ({"components": [Component(str(n), 1, 0) for n in range(41)]}, "components"),
        ({"components": [FRONT, FRONT]}, "component-twice"),
        ({"ratio_limit": 0.5}, "ratio-limit"),
    ],
)
def test_nonsense_is_refused(changes: dict[str, object], code: str) -> None:
    facts: dict[str, object] = {"mass_mg": TOTAL, "u_mg": 10, "components": FRAME}
    with pytest.raises(MassFitError) as refused:
        fit(**(facts | changes))  # type: ignore[arg-type]
    assert refused.value.code == code


def test_priors_that_do_not_add_up_and_massless_parts_are_refused() -> None:
    with pytest.raises(MassFitError, match="add up"):
        Priors(complete=0.9)
    with pytest.raises(MassFitError, match="mass above zero"):
        Component("x", 0, 1)


@given(st.integers(1, 60_000), st.floats(0.1, 500))
def test_posteriors_are_shares_and_the_verdict_matches_the_best(mass: int, u: float) -> None:
    found = fit(mass_mg=mass, u_mg=u, components=FRAME)
    assert 0 <= sum(one.posterior for one in found.fits) <= 1 + 1e-9
    assert found.ratio >= 1
    if found.verdict is not Verdict.CANNOT_TELL:
        assert found.verdict.value == found.best.explanation.value


@given(st.integers(-300, 300), st.floats(1, 50), st.floats(1, 100))
def test_coarser_scale_never_makes_a_nearer_z(offset: int, u: float, more: float) -> None:
    fine = fit(mass_mg=TOTAL + offset, u_mg=u, components=FRAME)
    coarse = fit(mass_mg=TOTAL + offset, u_mg=u + more, components=FRAME)
    z_fine, z_coarse = (
        next(abs(one.z or 0) for one in found.fits if one.explanation is Explanation.COMPLETE)
        for found in (fine, coarse)
    )
    assert z_coarse <= z_fine + 1e-12


def test_deficit_at_the_edge_of_what_a_float_holds_is_still_weighed_up() -> None:
    """So far below the whole that the density of "foreign" is the smallest of floats."""
    found = fit(mass_mg=742, u_mg=500, components=FRAME)
    assert found.verdict is Verdict.CANNOT_TELL
