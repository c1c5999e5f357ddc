"""Weighing figures held against what others printed; each check names its source and tag.

Tags: read = seen on the source named; from memory = not seen, recalled; derived = worked out from
a formula, an identity check that nobody published.
"""

from __future__ import annotations

from math import sqrt

import pytest

from inventory.weighing.sums import traced, weighing
from inventory.weighing.sums.traced import MassWithReadings
from inventory.weighing.sums.weighing import (
    CertificatePoint,
    Measured,
    Scale,
    budget,
    combine,
    expanded,
    maximum_permissible_error_mg,
    measure,
    step_uncertainty_mg,
    total,
)


def _scale(accuracy_class: str, e_mg: int) -> Scale:
    return Scale(
        key="plate",
        resolution_d_mg=e_mg,
        verification_e_mg=e_mg,
        accuracy_class=accuracy_class,
        capacity_mg=10**8,
        minimum_mg=0,
        in_service=False,
    )


@pytest.mark.parametrize(
    ("mass_g", "e_g", "accuracy_class", "error_g"),
    [
        (500, 1, "III", 0.5),
        (501, 1, "III", 1.0),
        (2000, 1, "III", 1.0),
        (2001, 1, "III", 1.5),
        (6000, 2, "III", 3),
        (3000, 0.5, "III", 0.75),
        (150, 0.1, "II", 0.05),
        (600, 0.1, "II", 0.10),
        (2000.1, 0.1, "II", 0.15),
    ],
)
def test_error_limits_of_the_directive(
    mass_g: float, e_g: float, accuracy_class: str, error_g: float
) -> None:
    """Derived from the read error table: UK SI 1995/1907, Schedule 2 (Directive 2014/31/EU)."""
    scale = _scale(accuracy_class, round(e_g * 1000))
    assert maximum_permissible_error_mg(scale, round(mass_g * 1000)) == error_g * 1000


def test_simple_tared_weighing() -> None:
    """Read: University of Tartu, set of GUM examples, file weighing.smu, simple weighing.

    m = 0.324 g; repeatability 0.00017 g, drift ±0.0002 g and readability ±0.00005 g as
    rectangles; printed u = 0.000207525098883645 g.
    """
    parts_g = [0.00017, 0.0002 / sqrt(3), 0.00005 / sqrt(3)]
    weighing = combine([(1, Measured(0, u_g * 1000)) for u_g in parts_g])
    assert weighing.u_mg / 1000 == pytest.approx(0.000207525098883645, abs=1e-15)


def test_expanded_uncertainty_as_national_institute_states_it() -> None:
    """Read: NIST Reference on Constants, Units, Uncertainty, examples: u = 0.35 mg, U = 0.70 mg."""
    assert expanded(0.35, 2) == pytest.approx(0.70, abs=0.005)


def test_end_gauge_budget() -> None:
    """Read: NIST Technical Note 1297, Appendix D.2 (GUM H.1): u_c = 34 nm."""
    parts_nm = [25, 5.8, 3.9, 6.7, 1.7, 5.8, 10.2, 2.9, 16.6]
    assert combine([(1, Measured(0, u)) for u in parts_nm]).u_mg == pytest.approx(34, abs=0.5)


def test_ten_parts_against_one_standard() -> None:
    """From memory: GUM 5.2.2, ten resistors of u = 100 mΩ against one standard: 1 Ω, not 0.32."""
    shared = Measured(0, 0.0, (("standard", 0.1),))
    assert total([shared] * 10).u_mg == pytest.approx(1.0, abs=0.05)
    assert total([Measured(0, 0.1)] * 10).u_mg == pytest.approx(0.32, abs=0.005)


def test_voltmeter_of_the_guide() -> None:
    """From memory: GUM 4.3.7 example 2 and 5.1.5: a = 15 µV, u_B = 8.7 µV, u_c = 15 µV."""
    half_width_uv = 14e-6 * 0.928571e6 + 2e-6 * 1e6
    assert half_width_uv == pytest.approx(15, abs=0.5)
    u_b = half_width_uv / sqrt(3)
    assert u_b == pytest.approx(8.7, abs=0.05)
    assert combine([(1, Measured(0, 12.0)), (1, Measured(0, u_b))]).u_mg == pytest.approx(
        15, abs=0.5
    )


def test_gross_less_tare_of_the_analysts_guide() -> None:
    """From memory: EURACHEM/CITAC Guide, example A2: 60.5450 g − 60.1562 g, ±0.15 mg each.

    Printed 0.3888 g, 0.09 mg and 0.13 mg; the last came from the rounded 0.09, hence the
    tolerance of 0.01 mg.
    """
    u_mg = 0.15 / sqrt(3)
    assert u_mg == pytest.approx(0.09, abs=0.005)
    # In tenths of a milligram, for the analyst's balance shows them and masses here are whole.
    gross, tare = Measured(605_450, 10 * u_mg), Measured(601_562, 10 * u_mg)
    net = combine([(1, gross), (-1, tare)])
    assert net.mass_mg == 3_888
    assert net.u_mg / 10 == pytest.approx(0.13, abs=0.01)


def test_digital_step() -> None:
    """Read: axiospec.com, resolution uncertainty calculator (d/√12 = 0.29 d); GUM F.2.2.1 from
    memory. Derived: 0.408 d for a difference of two readings."""
    scale = _scale("II", 100)
    assert step_uncertainty_mg(scale) == pytest.approx(29, abs=0.5)
    assert step_uncertainty_mg(scale, tared=True) == pytest.approx(40.8, abs=0.05)


def analysts_balance() -> Scale:
    """The balance of the certificate below. Its figures are in micrograms throughout, for masses
    here are whole; the shop's own sums do not care which unit it is."""
    return Scale(
        key="balance",
        resolution_d_mg=100,
        verification_e_mg=1_000,
        accuracy_class="I",
        capacity_mg=220_000_000,
        minimum_mg=0,
        certificate=(
            CertificatePoint(5_000_000, -200.0, 200.0 / 2),
            CertificatePoint(20_000_000, -100.0, 201.0 / 2),
        ),
        repeatability_mg=30.0,
        # So many that they are the repeatability and no estimate of it, as the source takes them.
        repeats=10**9,
        eccentricity_mg=100.0,
        eccentricity_load_mg=20_000_000,
        drift_ppm=0.0,
    )


def test_budget_of_a_certified_balance() -> None:
    """Second-hand: Crparedes/masscor, minimalCert.R and test-uncertainties.R, an open one
    of EURAMET cg-18: d 0.1 mg; E(5 g) = -0.2 ± 0.200 mg, E(20 g) = -0.1 ± 0.201 mg (k = 2); s 0.03
    mg and 0.1 mg over the pan, both at 20 g; reading 12.4835 g. Printed u(E) = 0.000100249 g, u²(R)
    = 2.891329e-9 g², u(W*) = 0.0001137598 g."""
    found = budget(analysts_balance(), 12_483_500)
    assert found.common_mg / 1e6 == pytest.approx(0.000100249, abs=1e-9)
    assert found.own_mg**2 / 1e12 == pytest.approx(2.891329e-9, abs=1e-15)
    certified_only = Measured(12_483_500, found.own_mg, (("u(E)", found.common_mg),))
    assert certified_only.u_mg / 1e6 == pytest.approx(0.0001137598, abs=1e-10)
    assert (found.local_mg, found.drift_mg) == (0.0, 0.0)


def test_certificate_is_read_between_its_points_and_not_at_the_nearest() -> None:
    """Derived: the same source documents a straight line between points, which gives E = -0.150110
    mg, and prints 12.4837 g, which is the nearest point's; the line is right."""
    error = budget(analysts_balance(), 12_483_500).error_mg
    assert error == pytest.approx(-150.110, abs=0.001)
    assert (12_483_500 - error) / 1e6 == pytest.approx(12.48365011, abs=1e-8)


def gross_less_tare() -> Measured:
    box = Scale(
        key="box",
        resolution_d_mg=10,
        verification_e_mg=100,
        accuracy_class="II",
        capacity_mg=600_000,
        minimum_mg=0,
        certificate=(CertificatePoint(100_000, 0.0, 0.0),),
        repeatability_mg=8.0,
        repeats=10**9,
        eccentricity_mg=20.0,
        eccentricity_load_mg=200_000,
        drift_ppm=20.0 * sqrt(3),
    )
    return combine([(1, measure(box, 182_340)), (-1, measure(box, 121_870))])


def test_gross_less_tare_on_the_shops_own_path() -> None:
    """Derived from GUM 5.2.2, no published row: d 10 mg, s 8 mg, 182.340 g less 121.870 g, 20 mg
    over the pan at 200 g, 20 ppm of sensitivity, common and so of the net alone: 13.6460 mg with
    one zero for both. The shop zeroes before each, so the zero is rounded twice: d²/6 more."""
    net = gross_less_tare()
    assert sqrt(net.variance_mg2 - 10**2 / 6) == pytest.approx(13.6460, abs=1e-3)
    assert dict(net.u_shared_mg)["box:drift"] == pytest.approx(1.2094, abs=1e-4)


def test_air_carries_polypropylene_as_the_weighing_sums_say() -> None:
    """Second-hand: NIST SOP 2, m = W·(1 - ρ/8000)/(1 - ρ/ρm); its factor for 2.115 g/cm³ in air of
    0.001199314 g/cm³ is 1.000417. Derived: polypropylene of 905 kg/m³ in 1.2 kg/m³."""

    def factor(air: float, matter: float) -> float:
        return (1 - air / 8000) / (1 - air / matter)

    assert factor(1.199314, 2115) == pytest.approx(1.000417, abs=5e-7)
    assert 1000 * (factor(1.2, 905) - 1) == pytest.approx(1.18, abs=0.005)
    assert "1.18 mg" in (weighing.__doc__ or "")


def _reading(mass_mg: int, own_ug: int, shared_ug: int, scale: str = "one") -> MassWithReadings:
    return MassWithReadings.of(
        traced.reading(mass_mg, own_ug=own_ug, shared_ug=((scale, shared_ug),))
    )


def test_ten_weighings_on_one_scale_as_ten_parts_against_one_standard() -> None:
    """From memory: GUM (JCGM 100:2008) 5.2.2: ten parts of u = 100 mΩ compared with the same
    standard have u = 1 Ω in series, and not 0.32 Ω. Here in micrograms, expanded with k = 2."""
    same = MassWithReadings.total(_reading(1_000, 0, 100_000) for _ in range(10))
    assert same.known().expanded_ug == 2 * 1_000_000
    own = MassWithReadings.total(_reading(1_000, 100_000, 0) for _ in range(10))
    assert own.known().expanded_ug / 2 == pytest.approx(316_000, abs=500)


def test_gross_less_tare_traced_to_its_readings() -> None:
    """From memory: EURACHEM/CITAC Guide CG 4, example A2: 60.5450 g − 60.1562 g, ±0.15 mg each,
    taken as independent: 0.13 mg (from the rounded 0.09, hence the tolerance). Derived: on a
    scale whose error is all shared the difference is known without doubt."""
    u_ug = round(150 / sqrt(3))
    net = _reading(605_450, u_ug, 0).less(_reading(601_562, u_ug, 0))
    assert net.mass_mg == 3_888
    assert net.known().expanded_ug / 2 == pytest.approx(130, abs=10)
    assert _reading(605_450, 0, u_ug).less(_reading(601_562, 0, u_ug)).known().expanded_ug == 0


def test_masses_with_a_reading_in_common_are_correlated_as_the_guide_says() -> None:
    """From memory: GUM (JCGM 100:2008) F.1.2.3: two quantities that depend on the same ones have
    the covariance Σ (∂F/∂q)(∂G/∂q) u²(q); it enters the variance of their sum twice (5.2.2).
    Derived, by hand, q = own parts a, b, c and the scale's common error s:

    box = a + b, lot = c − b; u(box, lot) = −u²(b) + 2 · 0 · u²(s), for lot has s with 1 − 1 = 0.
    """
    a, b, c = (_reading(mass, 3_000, 4_000) for mass in (9_000, 5_000, 7_000))
    box, lot = MassWithReadings.total([a, b]), c.less(b)
    u2 = {"box": 2 * 3**2 + (2 * 4) ** 2, "lot": 2 * 3**2, "both": -(3**2)}
    variance_mg2 = u2["box"] + u2["lot"] + 2 * u2["both"]
    together = MassWithReadings.total([box, lot])
    assert together.mass_mg == 16_000
    assert together.known().expanded_ug == pytest.approx(2_000 * sqrt(variance_mg2), abs=1)
    assert together.parts == MassWithReadings.total([a, c]).parts
