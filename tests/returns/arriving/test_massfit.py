"""Identification by mass. All vectors are constructed; densities are checked against scipy."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import combinations
from math import exp
from typing import Any
from unittest.mock import patch

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats

from returns.arriving.sums import massfit
from returns.arriving.sums.mass_hypotheses import (
    Change,
    Component,
    Explanation,
    MassFitError,
    Priors,
    hypotheses,
    merged,
)
from returns.arriving.sums.massfit import fit

FRONT = Component("front", 11_000, 60)
TEMPLES = (Component("temple.left", 4_500, 40), Component("temple.right", 4_500, 40))
SCREWS = Component("screw", 120, 3, count=2)
FRAME = (FRONT, *TEMPLES, SCREWS)
TOTAL = 20_240
# Constructed pieces of two other models; the bill has no bridge.
OTHERS = (
    Component("front", 12_300, 60, of="stilt"),
    Component("temple.left", 5_100, 40, of="stilt"),
    Component("screw", 140, 3, of="knot"),
    Component("bridge", 900, 5, of="knot"),
)


def test_nominal_mass_is_complete() -> None:
    found = fit(mass_mg=TOTAL, u_mg=10, components=FRAME)
    assert found.verdict is Explanation.COMPLETE
    assert found.best.z == 0
    assert found.best.expected_mg == TOTAL


def test_variances_add_not_spreads() -> None:
    """60^2 + 2 x 40^2 + 2 x 3^2 + 10^2 = 6918 by hand."""
    assert fit(mass_mg=TOTAL, u_mg=10, components=FRAME).best.u_mg == pytest.approx(6918**0.5)


def test_a_missing_part_takes_its_spread_with_it() -> None:
    found = fit(mass_mg=TOTAL - 4_500, u_mg=10, components=FRAME)
    assert found.verdict is Explanation.MISSING
    assert found.best.u_mg == pytest.approx((6918 - 1600) ** 0.5)


def test_temples_of_equal_mass_are_named_together() -> None:
    found = fit(mass_mg=TOTAL - 4_480, u_mg=10, components=FRAME)
    assert found.best.missing == (("temple.left",), ("temple.right",))


def test_two_missing_parts_are_found() -> None:
    found = fit(mass_mg=TOTAL - 9_000, u_mg=10, components=FRAME)
    assert found.verdict is Explanation.MISSING
    assert found.best.missing == (("temple.left", "temple.right"),)


def test_screw_within_the_spread_of_the_frame_cannot_be_told() -> None:
    """One screw is 1.4 standard uncertainties: both explain the reading about as well."""
    found = fit(mass_mg=TOTAL - 200, u_mg=10, components=FRAME)
    assert found.verdict is None
    assert found.ratio < 3


def test_screw_is_found_missing_when_parts_are_close_to_nominal() -> None:
    exact = tuple(replace(part, spread_mg=5) for part in FRAME)
    found = fit(mass_mg=TOTAL - 120, u_mg=2, components=exact)
    assert (found.verdict, found.best.missing) == (Explanation.MISSING, (("screw",),))


def test_excess_is_foreign() -> None:
    assert fit(mass_mg=TOTAL + 2_000, u_mg=10, components=FRAME).verdict is Explanation.FOREIGN


def test_a_second_arm_in_the_tray_is_named_as_a_part_too_many() -> None:
    found = fit(mass_mg=TOTAL + 4_510, u_mg=10, components=FRAME)
    assert found.verdict is Explanation.EXTRA
    assert found.best.extra == (("temple.left",), ("temple.right",))
    assert found.best.missing == ()
    assert found.best.expected_mg == TOTAL + 4_500
    # Variances add up though the mass is more: 6918 + 1600 by hand.
    assert found.best.u_mg == pytest.approx((6918 + 1600) ** 0.5)


def test_two_parts_too_many_are_named_together() -> None:
    exact = tuple(replace(part, spread_mg=5) for part in FRAME)
    found = fit(mass_mg=TOTAL + 240, u_mg=2, components=exact)
    assert (found.verdict, found.best.extra) == (Explanation.EXTRA, (("screw", "screw"),))


def test_three_missing_parts_are_found() -> None:
    exact = tuple(replace(part, spread_mg=5) for part in FRAME)
    found = fit(mass_mg=TOTAL - 9_120, u_mg=2, components=exact)
    assert found.verdict is Explanation.MISSING
    assert found.best.missing == (("temple.left", "temple.right", "screw"),)


def test_two_sets_that_explain_a_deficit_about_as_well_cannot_be_told_apart() -> None:
    """A lens pair of 4 490 mg against an arm of 4 500 mg, on a scale that knows 10 mg."""
    front = Component("front", 11_000, 2)
    bill = (front, Component("temple", 4_500, 5), Component("lens", 2_245, 5, count=2))
    found = fit(mass_mg=11_000 + 4_506, u_mg=10, components=bill)
    assert found.verdict is None
    assert {one.missing for one in found.fits[:2]} == {(("temple",),), (("lens", "lens"),)}


Pieces = Sequence[Component]
Weights = dict[tuple[Explanation, frozenset[Change]], float]


def densities(kind: Explanation, mass: int, shift: int, variance: float) -> float:
    """The density of the reading where a frame is `shift` mg off the whole, from scipy."""
    if "foreign" in kind:
        low, high = mass - 2 * TOTAL - shift, mass - TOTAL - shift
        share = stats.norm.sf([-high, -low], 0, variance**0.5)
        return float(share[0] - share[1]) / TOTAL
    if kind is Explanation.UNEXPLAINED:
        return 1 / (2 * max(TOTAL, mass))
    return float(stats.norm.pdf(mass, TOTAL + shift, variance**0.5))


def cases(pieces: Pieces, priors: Priors) -> Iterator[tuple[Explanation, float, list[Any]]]:
    """Each kind with its share and everything, piece by piece, that may be gone and come."""
    yield Explanation.COMPLETE, priors.complete, [((), ())]
    yield Explanation.FOREIGN, priors.foreign, [((), ())]
    yield Explanation.UNEXPLAINED, priors.unexplained, [((), ())]
    missing = (priors.one_missing, priors.two_missing, priors.three_missing)
    for size, share in enumerate(missing, start=1):
        yield Explanation.MISSING, share, [(some, ()) for some in combinations(pieces, size)]
    for size, share in enumerate((priors.one_extra, priors.two_extra), start=1):
        yield Explanation.EXTRA, share, [((), some) for some in combinations(pieces, size)]
    unlike = [((a,), (b,)) for a in pieces for b in pieces if a.key != b.key]
    yield Explanation.EXCHANGED, priors.one_missing_one_extra, unlike
    likes = [((a,), (b,)) for a in pieces for b in OTHERS if a.key == b.key]
    yield Explanation.EXCHANGED, priors.one_of_another_model, likes
    gone = [((piece,), ()) for piece in pieces]
    yield Explanation.MISSING_AND_FOREIGN, priors.missing_and_foreign, gone


def listed(mass: int, u: float, *, priors: Priors) -> Weights:
    """Derived: prior times density of every case, each piece taken by name."""
    pieces = [part for part in FRAME for _ in range(part.count)]
    spread = sum(part.spread_mg**2 for part in pieces) + u**2
    found: Weights = {}
    for kind, share, changes in cases(pieces, priors):
        for gone, come in changes:
            keys = [tuple(sorted(piece.key for piece in way)) for way in (gone, come)]
            change = Change(*keys, come[0].of if come else "")
            shift = sum(p.nominal_mg for p in come) - sum(p.nominal_mg for p in gone)
            own = sum(p.spread_mg**2 for p in come) - sum(p.spread_mg**2 for p in gone)
            weight = share / len(changes) * densities(kind, mass, shift, spread + own)
            key = (kind, frozenset([change] if gone or come else []))
            found[key] = found.get(key, 0) + weight
    return found


def in_order(change: Change) -> Change:
    return Change(tuple(sorted(change.gone)), tuple(sorted(change.come)), change.of)


# Priors that make the seldom hypotheses count, so that a slip in one of them shows.
EVEN = Priors(0.2, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.04, 0.04, 0.02)


@pytest.mark.parametrize("priors", [Priors(), EVEN])
@settings(max_examples=40)
@given(st.integers(4_000, 32_000), st.floats(5, 300))
def test_posteriors_are_what_listing_every_piece_gives(priors: Priors, mass: int, u: float) -> None:
    """Bayes' rule over the list above, each hypothesis by its changes, none left over."""
    with patch.object(massfit, "FITS_SHOWN_MAX", 1000):
        found = fit(mass_mg=mass, u_mg=u, components=FRAME, others=OTHERS, priors=priors)
    left = listed(mass, u, priors=priors)
    total = sum(left.values())
    for one in found.fits:
        changes = [frozenset([in_order(change)]) for change in one.changes] or [frozenset()]
        expected = sum(left.pop((one.explanation, change)) for change in changes) / total
        assert one.posterior == pytest.approx(expected, rel=1e-6, abs=1e-9)
    assert not left


def exchanged(mass: int, others: Sequence[Component] = OTHERS, **options: float) -> massfit.MassFit:
    """A bill whose pieces lie close to their nominal mass, so that a swap can be told."""
    exact = tuple(replace(part, spread_mg=2) for part in FRAME)
    likes = tuple(replace(part, spread_mg=2) for part in others)
    return fit(mass_mg=mass, u_mg=2, components=exact, others=likes, **options)


def test_arm_of_another_model_is_found_as_an_exchange() -> None:
    found = exchanged(TOTAL + 600)
    assert found.best.exchanged == (Change(("temple.left",), ("temple.left",), "stilt"),)
    assert found.best.expected_mg == TOTAL + 600
    assert found.best.missing == found.best.extra == ()
    # Six pieces of 2 mg and the scale's 2 mg, by hand: one went and one came.
    assert found.best.u_mg == pytest.approx((5 * 4 + 4) ** 0.5)
    assert found.verdict is Explanation.EXCHANGED


def test_two_exchanges_that_weigh_the_same_are_named_together_or_cannot_be_told() -> None:
    also = Component("temple.right", 5_100, 40, of="knot")
    found = exchanged(TOTAL + 600, (*OTHERS, also))
    assert {change.of for change in found.best.exchanged} == {"stilt", "knot"}
    apart = exchanged(TOTAL + 600, (*OTHERS, replace(also, nominal_mg=5_101)))
    assert apart.verdict is None
    assert {one.explanation for one in apart.fits[:2]} == {Explanation.EXCHANGED}


def test_screw_gone_and_an_arm_too_many_is_tried() -> None:
    found = exchanged(TOTAL - 120 + 4_500, (), ratio_limit=1)
    pairs = [change for one in found.fits for change in one.exchanged]
    assert Change(("screw",), ("temple.left",)) in pairs
    assert Change(("screw",), ("temple.right",)) in pairs


def test_lens_gone_and_a_strap_in_cannot_be_told_but_is_listed() -> None:
    """Nothing foretells a strap's mass: as many masses fit it as fit nothing we know."""
    found = exchanged(TOTAL - 4_500 + 1_530)
    assert found.verdict is None
    (named,) = [
        one
        for one in found.fits
        if one.explanation is Explanation.MISSING_AND_FOREIGN and ("temple.left",) in one.missing
    ]
    assert named.expected_mg is named.z is None


def test_exchanges_leave_the_plain_verdicts_as_they_were() -> None:
    for mass, verdict in (
        (TOTAL, "complete"),
        (TOTAL - 4_500, "missing"),
        (TOTAL + 4_500, "extra"),
    ):
        assert exchanged(mass).verdict == verdict


@given(st.integers(10_000, 30_000), st.floats(1, 30))
def test_order_of_the_pieces_changes_no_posterior(mass: int, u: float) -> None:
    one = fit(mass_mg=mass, u_mg=u, components=FRAME, others=OTHERS)
    other = fit(mass_mg=mass, u_mg=u, components=FRAME[::-1], others=OTHERS[::-1])
    assert one.verdict is other.verdict
    assert [f.posterior for f in one.fits] == pytest.approx([f.posterior for f in other.fits])


def every(components: Sequence[Component] = FRAME, u: float = 10) -> Iterator[Any]:
    return hypotheses(tuple(components), OTHERS, Priors(), u)


def test_deficit_no_part_accounts_for_is_unexplained_and_cannot_be_told() -> None:
    found = fit(mass_mg=TOTAL - 2_300, u_mg=10, components=FRAME)
    assert found.best.explanation is Explanation.UNEXPLAINED
    assert found.verdict is None


@pytest.mark.parametrize(
    ("offset", "verdict"), [(0.999, None), (1.0, "complete"), (1.001, "complete")]
)
def test_ratio_just_under_and_over_the_limit(offset: float, verdict: str | None) -> None:
    free = fit(mass_mg=TOTAL - 150, u_mg=10, components=FRAME)
    assert free.best.explanation is Explanation.COMPLETE
    limited = fit(mass_mg=TOTAL - 150, u_mg=10, components=FRAME, ratio_limit=free.ratio / offset)
    assert limited.verdict == verdict


def test_likelihood_of_a_point_hypothesis_is_the_normal_density() -> None:
    best = fit(mass_mg=TOTAL + 50, u_mg=10, components=FRAME).best
    assert best.likelihood == pytest.approx(stats.norm.pdf(50, 0, 6918**0.5), rel=1e-12)


def test_foreign_density_integrates_to_one() -> None:
    area, _ = integrate.quad(
        lambda excess: exp(massfit._log_uniform_blur(excess, 1000, 50)), -300, 1300, limit=200
    )
    assert area == pytest.approx(1, abs=1e-8)


def test_priors_are_shared_over_pieces_and_kept_whole() -> None:
    """Five pieces: a screw of either kind gets 2/5 of the share for one missing."""
    found = list(every())
    assert sum(hypothesis.prior for hypothesis in found) == pytest.approx(1)
    screw = next(h for h in found if h.changes == (Change(gone=("screw",)),))
    assert screw.prior == pytest.approx(0.10 * 2 / 5)


def test_joined_hypotheses_keep_both_their_priors() -> None:
    joined = merged(every())
    arms = (Change(gone=("temple.left",)), Change(gone=("temple.right",)))
    temple = next(h for h in joined if h.changes == arms and h.explanation is Explanation.MISSING)
    assert temple.prior == pytest.approx(0.10 * 2 / 5)
    assert sum(hypothesis.prior for hypothesis in joined) == pytest.approx(1)


def test_pair_of_a_single_piece_is_not_considered() -> None:
    found = [hypothesis.changes for hypothesis in every()]
    assert (Change(gone=("front", "front")),) not in found


def test_single_piece_is_never_gone_but_may_be_exchanged() -> None:
    kinds = {hypothesis.explanation for hypothesis in every([FRONT])}
    assert not kinds & {Explanation.MISSING, Explanation.MISSING_AND_FOREIGN}
    assert Explanation.EXCHANGED in kinds


def test_largest_bill_stays_within_the_hypotheses_that_are_promised() -> None:
    """3 + (40 + 820 + 11 480) missing + (40 + 820) extra + 40 x 39 + 400 + 40, by hand."""
    many = tuple(Component(f"c{n}", 100 + 7 * n, 1, count=3) for n in range(40))
    others = [Component(f"c{n % 40}", 90 + n, 1, of=f"m{n}") for n in range(massfit.OTHERS_MAX)]
    assert len(list(hypotheses(many, others, Priors(), 1))) == 15_203
    total = sum(part.nominal_mg * 3 for part in many)
    found = fit(mass_mg=total, u_mg=1, components=many, others=others)
    assert len(found.fits) == massfit.FITS_SHOWN_MAX
    with pytest.raises(MassFitError, match="at most 400"):
        fit(mass_mg=total, u_mg=1, components=many, others=[*others, others[0]])


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
    if found.verdict is not None:
        assert found.verdict is found.best.explanation


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
    assert found.verdict is None
