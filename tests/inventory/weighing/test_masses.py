"""Masses as typed: every vector here is constructed; the rule is our own (never guess)."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from inventory.weighing.sums.masses import (
    MASS_MG_MAX,
    TEXT_LENGTH_MAX,
    AmbiguousMass,
    BadMass,
    MassTextError,
    format_mass,
    mass_g,
    parse_mass_mg,
)


@pytest.mark.parametrize(
    ("text", "mass_mg"),
    [
        ("24,31", 24_310),
        ("24.31 g", 24_310),
        ("24.31g", 24_310),
        ("  24.31 G ", 24_310),
        ("0.024 kg", 24_000),
        ("0,024", 24),
        ("024,310", 24_310),
        ("24 310 mg", 24_310),
        ("24\u00a0310 mg", 24_310),
        ("24\u202f310 mg", 24_310),
        ("1'234,5 g", 1_234_500),
        ("1\u2019234.5", 1_234_500),
        ("1.234,5", 1_234_500),
        ("1,234.5", 1_234_500),
        ("1,234,567 mg", 1_234_567),
        ("1234.500", 1_234_500),
        ("24", 24_000),
        ("1 mg", 1),
        ("0.001", 1),
        ("1.234567 kg", 1_234_567),
        ("2,5 KG", 2_500_000),
    ],
)
def test_text_with_one_reading_is_that_mass(text: str, mass_mg: int) -> None:
    assert parse_mass_mg(text) == mass_mg


@pytest.mark.parametrize(
    "text",
    [
        "", " ", "g", "abc", "-5 g", "+5 g", "1e3", "1E3 g", "nan", "inf", "Infinity", "5 t",
        "5 Mg", "5 MG", "٢٤ g", "２４", "²", "1.2.3", "1,2,3", "1..2", "1 23 g", "12 3456",
        "1.234.56", ".5", "5.", "1,234'567", "0,024,310", "24.31 g g", "1_000", "0x10", "24\n31",
        "1.234,567,8", "1,5 000",
    ],
)  # fmt: skip
def test_text_that_is_no_mass_is_refused(text: str) -> None:
    with pytest.raises(BadMass) as refused:
        parse_mass_mg(text)
    assert "24.31 g" in str(refused.value)
    assert refused.value.code == "bad_mass"


@pytest.mark.parametrize("text", ["0", "0.000", "0 kg", "0,0 mg"])
def test_nothing_on_the_pan_is_refused(text: str) -> None:
    with pytest.raises(BadMass, match="more than zero"):
        parse_mass_mg(text)


@pytest.mark.parametrize("text", ["24.3105", "0,5 mg", "0.0000005 kg"])
def test_part_of_a_milligram_is_refused(text: str) -> None:
    with pytest.raises(BadMass, match="whole milligrams"):
        parse_mass_mg(text)


@pytest.mark.parametrize("text", ["24,310", "24.310 g", "1.000", "999,999 kg"])
def test_two_readings_without_a_scale_are_ambiguous(text: str) -> None:
    with pytest.raises(AmbiguousMass) as refused:
        parse_mass_mg(text, capacity_mg=None)
    small, large = refused.value.readings_mg
    assert large == 1000 * small
    assert format_mass(small) in str(refused.value)
    assert format_mass(large) in str(refused.value)
    assert refused.value.code == "ambiguous_mass"


def test_refusal_can_be_told_with_a_comma_and_what_is_text_stays() -> None:
    with pytest.raises(AmbiguousMass) as refused:
        parse_mass_mg("24.310")
    shown = refused.value.shown(",")
    assert (shown["first"], shown["second"]) == ("24,310 g", "24310,000 g")
    assert (shown["first_plain"], shown["second_plain"]) == ("24310 mg", "24310 g")


def test_ambiguity_offers_spellings_that_are_not_ambiguous() -> None:
    with pytest.raises(AmbiguousMass) as refused:
        parse_mass_mg("24,310")
    shown = refused.value.shown()
    assert parse_mass_mg(shown["first_plain"]) == 24_310
    assert parse_mass_mg(shown["second_plain"]) == 24_310_000


def test_capacity_settles_what_a_comma_means() -> None:
    assert parse_mass_mg("24,310", capacity_mg=24_309_999) == 24_310
    with pytest.raises(AmbiguousMass):
        parse_mass_mg("24,310", capacity_mg=24_310_000)


def test_resolution_settles_what_a_point_means() -> None:
    assert parse_mass_mg("24.315", resolution_mg=1_000) == 24_315_000
    with pytest.raises(AmbiguousMass):
        parse_mass_mg("24.315", resolution_mg=5)


@pytest.mark.parametrize("text", ["24.30", "24.32"])
def test_multiple_of_the_step_is_taken(text: str) -> None:
    assert parse_mass_mg(text, resolution_mg=20) == Decimal(text) * 1000


def test_figure_between_two_steps_is_refused() -> None:
    with pytest.raises(BadMass, match=r"steps of 0\.020 g"):
        parse_mass_mg("24.31", resolution_mg=20, capacity_mg=600_000)


@pytest.mark.parametrize(("text", "mass_mg"), [("599.99", 599_990), ("600.00", 600_000)])
def test_mass_up_to_capacity_is_taken(text: str, mass_mg: int) -> None:
    assert parse_mass_mg(text, capacity_mg=600_000) == mass_mg


def test_mass_over_capacity_is_refused() -> None:
    with pytest.raises(BadMass, match=r"over 600\.000 g"):
        parse_mass_mg("600.01", capacity_mg=600_000)


def test_ceiling_holds_without_a_scale() -> None:
    assert parse_mass_mg(f"{MASS_MG_MAX} mg") == MASS_MG_MAX
    with pytest.raises(BadMass, match="over"):
        parse_mass_mg(f"{MASS_MG_MAX + 1} mg")


def test_length_is_capped() -> None:
    assert parse_mass_mg("5".rjust(TEXT_LENGTH_MAX)) == 5_000
    with pytest.raises(BadMass, match="too long"):
        parse_mass_mg("5".rjust(TEXT_LENGTH_MAX + 1))


@pytest.mark.parametrize("hints", [{"resolution_mg": 0}, {"capacity_mg": 0}])
def test_impossible_scale_is_refused(hints: dict[str, int]) -> None:
    with pytest.raises(ValueError, match="at least 1 mg"):
        parse_mass_mg("5", **hints)


def test_masses_are_written_one_way() -> None:
    assert format_mass(24_310) == "24.310 g"
    assert format_mass(24_310, decimal_sign=",") == "24,310 g"
    assert format_mass(-5) == "-0.005 g"
    assert format_mass(0) == "0.000 g"
    assert format_mass(10**15) == "1000000000000.000 g"
    assert mass_g(24_310) == Decimal("24.310")


def test_other_decimal_sign_is_refused() -> None:
    with pytest.raises(ValueError, match="decimal sign"):
        format_mass(1, decimal_sign=";")


@given(
    steps=st.integers(1, 600_000),
    step_mg=st.sampled_from([1, 2, 5, 10, 20, 50, 100]),
    sign=st.sampled_from([".", ","]),
)
def test_format_then_parse_is_identity_on_a_bench_scale(
    steps: int, step_mg: int, sign: str
) -> None:
    mass_mg = steps * step_mg
    assume(mass_mg <= 600_000)
    text = format_mass(mass_mg, decimal_sign=sign)
    assert parse_mass_mg(text, resolution_mg=step_mg, capacity_mg=600_000) == mass_mg


@given(mass_mg=st.integers(1, MASS_MG_MAX), sign=st.sampled_from([".", ","]))
def test_format_then_parse_is_identity_or_says_so(mass_mg: int, sign: str) -> None:
    try:
        assert parse_mass_mg(format_mass(mass_mg, decimal_sign=sign)) == mass_mg
    except AmbiguousMass as refused:
        assert mass_mg in refused.readings_mg  # noqa: PT017


@given(mass_mg=st.integers(1, MASS_MG_MAX), sign=st.sampled_from([".", ","]))
def test_kilograms_with_six_decimals_are_never_ambiguous(mass_mg: int, sign: str) -> None:
    text = f"{mass_mg // 10**6}{sign}{mass_mg % 10**6:06} kg"
    assert parse_mass_mg(text) == mass_mg


@given(st.text(max_size=50))
def test_any_text_gives_a_mass_or_a_named_error(text: str) -> None:
    try:
        assert 0 < parse_mass_mg(text) <= MASS_MG_MAX
    except MassTextError as refused:
        assert refused.code in {"bad_mass", "ambiguous_mass"}  # noqa: PT017


@given(st.text(alphabet="0123456789.,' kmg", max_size=20))
def test_any_figure_like_text_gives_a_mass_or_a_named_error(text: str) -> None:
    try:
        assert 0 < parse_mass_mg(text, resolution_mg=10, capacity_mg=6_000_000) <= 6_000_000
    except MassTextError as refused:
        assert str(refused)  # noqa: PT017
