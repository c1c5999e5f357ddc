"""Salvaged parts to frames. Vectors are constructed; brute force is the judge."""

from __future__ import annotations

from itertools import permutations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from returns.salvage.sums import matching as salvage
from returns.salvage.sums.matching import (
    Donor,
    Need,
    SalvageError,
    assign,
    compare,
    match,
    match_in_order,
)


def need(frame: str, component: str, colour: str | None = None) -> Need:
    return Need(frame, component, "avocet", colour)


def donor(key: str, component: str, cost: int = 10, colour: str = "moss") -> Donor:
    return Donor(key, component, "avocet", colour, "b1", cost)


def test_best_matching_saves_a_frame_more_than_serving_in_order() -> None:
    """The first frame would take the only moss part, which the second alone depends on."""
    needs = [need("one", "temple"), need("two", "temple", "moss")]
    donors = [donor("cheap-moss", "temple", 5), donor("sand", "temple", 9, "sand")]
    found = compare(needs, donors)
    assert found.in_order.saved == {"one"}
    assert found.best.saved == {"one", "two"}
    assert found.best.cost_minor == 14


def test_frame_with_two_needs_is_saved_only_if_both_are_met() -> None:
    needs = [need("one", "temple"), need("one", "hinge"), need("two", "temple")]
    found = match(needs, [donor("t", "temple")])
    assert found.saved == {"two"}
    assert [row.reason for row in found.rows] == [
        "parts-better-used",
        "no-fitting-part",
        "matched",
    ]
    assert "no salvaged part fits" in found.rows[1].text
    assert found.rows[2].text == "temple for two: take t."


def test_in_order_wastes_no_part_on_a_frame_that_cannot_be_finished() -> None:
    needs = [need("one", "temple"), need("one", "hinge"), need("two", "temple")]
    assert match_in_order(needs, [donor("t", "temple")]).saved == {"two"}


def test_two_simple_frames_beat_one_that_needs_both_parts() -> None:
    needs = [
        need("both", "temple"),
        need("both", "hinge"),
        need("left", "temple"),
        need("right", "hinge"),
    ]
    donors = [donor("t", "temple", 1), donor("h", "hinge", 1)]
    found = compare(needs, donors)
    assert found.in_order.saved == {"both"}
    assert found.best.saved == {"left", "right"}


def test_more_frames_come_before_any_saving_in_cost() -> None:
    needs = [need("one", "temple"), need("two", "temple")]
    found = match(needs, [donor("free", "temple", 0), donor("dear", "temple", 1_000_000)])
    assert len(found.saved) == 2


def test_at_equal_frames_the_cheaper_parts_are_used() -> None:
    found = match([need("one", "temple")], [donor("dear", "temple", 9), donor("low", "temple", 2)])
    assert found.rows[0].donor is not None
    assert found.rows[0].donor.key == "low"


@pytest.mark.parametrize(
    ("other", "fits"),
    [
        (Donor("d", "temple", "avocet", "moss", "b1", 1), True),
        (Donor("d", "temple", "avocet", "sand", "b1", 1), False),
        (Donor("d", "temple", "avocet", "moss", "b2", 1), False),
        (Donor("d", "temple", "dunlin", "moss", "b1", 1), False),
        (Donor("d", "hinge", "avocet", "moss", "b1", 1), False),
    ],
)
def test_part_fits_by_model_component_colour_and_batch(other: Donor, fits: bool) -> None:
    wanted = Need("one", "temple", "avocet", "moss", frozenset({"b1"}))
    assert wanted.is_met_by(other) is fits
    assert bool(match([wanted], [other]).saved) is fits


def test_nothing_to_match_saves_nothing() -> None:
    assert match([], [donor("t", "temple")]).saved == frozenset()
    assert match([need("one", "temple")], []).rows[0].reason == "no-fitting-part"
    twice = [need("one", "temple"), need("one", "hinge")]
    assert match(twice, [donor("x", "bridge")]).saved == frozenset()


@pytest.mark.parametrize(
    ("needs", "donors", "code"),
    [
        ([need("one", "temple")] * 201, [], "too-many"),
        ([], [donor(str(n), "temple") for n in range(501)], "too-many"),
        ([], [donor("t", "temple"), donor("t", "temple")], "donor-twice"),
        ([], [donor("t", "temple", -1)], "cost"),
        ([need("one", "temple")], [donor("t", "temple", 2**53)], "cost-size"),
    ],
)
def test_nonsense_is_refused(needs: list[Need], donors: list[Donor], code: str) -> None:
    with pytest.raises(SalvageError) as refused:
        match(needs, donors)
    assert refused.value.code == code


@pytest.mark.slow
def test_two_hundred_needs_are_matched_at_the_bounds() -> None:
    needs = [need(f"f{n // 2}", "temple" if n % 2 else "hinge") for n in range(200)]
    donors = [donor(f"t{n}", "temple", n % 7) for n in range(60)]
    donors += [donor(f"h{n}", "hinge", n % 5) for n in range(40)]
    assert len(match(needs, donors).saved) == 40


small_costs = st.lists(
    st.lists(st.one_of(st.none(), st.integers(0, 30)), min_size=3, max_size=3),
    min_size=1,
    max_size=4,
)


@given(small_costs)
def test_assignment_equals_brute_force(costs: list[list[int | None]]) -> None:
    found = assign(costs)
    served = [(row, column) for row, column in enumerate(found) if column is not None]
    assert len({column for _, column in served}) == len(served)
    total = sum(costs[row][column] or 0 for row, column in served)
    assert (-len(served), total) == min(brute_force(costs))


def brute_force(costs: list[list[int | None]]) -> list[tuple[int, int]]:
    columns = [*range(3), *[None] * len(costs)]
    outcomes = []
    for choice in set(permutations(columns, len(costs))):
        paid = [
            costs[row][column]
            for row, column in enumerate(choice)
            if column is not None and costs[row][column] is not None
        ]
        outcomes.append((-len(paid), sum(cost or 0 for cost in paid)))
    return outcomes


@st.composite
def benches(draw: st.DrawFn) -> tuple[list[Need], list[Donor]]:
    wants = draw(
        st.lists(
            st.tuples(st.sampled_from("fgh"), st.sampled_from(["temple", "hinge"])),
            min_size=1,
            max_size=4,
            unique=True,
        )
    )
    colours = st.sampled_from(["moss", "sand"])
    needs = [need(f, c, draw(st.one_of(st.none(), colours))) for f, c in wants]
    donors = [
        donor(f"d{n}", draw(st.sampled_from(["temple", "hinge"])), draw(st.integers(0, 20)), colour)
        for n, colour in enumerate(draw(st.lists(colours, max_size=4)))
    ]
    return needs, donors


def best_by_hand(needs: list[Need], donors: list[Donor]) -> tuple[int, int]:
    best = (0, 0)
    places = [*range(len(donors)), *[None] * len(needs)]
    for choice in set(permutations(places, len(needs))):
        pairs = [(n, d) for n, d in enumerate(choice) if d is not None]
        if any(not needs[n].is_met_by(donors[d]) for n, d in pairs):
            continue
        used = {n for n, _ in pairs}
        frames = {one.frame_key for one in needs}
        saved = {
            f for f in frames if all(n in used for n, x in enumerate(needs) if x.frame_key == f)
        }
        if any(needs[n].frame_key not in saved for n in used):
            continue
        best = min(best, (-len(saved), sum(donors[d].cost_minor for _, d in pairs)))
    return best


@settings(max_examples=40)
@given(benches())
def test_matching_equals_brute_force_and_never_loses_to_serving_in_order(
    bench: tuple[list[Need], list[Donor]],
) -> None:
    needs, donors = bench
    found = compare(needs, donors)
    assert (-len(found.best.saved), found.best.cost_minor) == best_by_hand(needs, donors)
    assert len(found.best.saved) >= len(found.in_order.saved)
    for matching in (found.best, found.in_order):
        used = [row.donor.key for row in matching.rows if row.donor is not None]
        assert len(set(used)) == len(used)
        met = {row.need.frame_key for row in matching.rows if row.donor is not None}
        unmet = {row.need.frame_key for row in matching.rows if row.donor is None}
        assert met == matching.saved
        assert not met & unmet


def test_integer_programme_agrees_with_the_assignment_on_single_needs() -> None:
    needs = [need("one", "temple"), need("two", "temple", "moss"), need("three", "temple")]
    donors = [donor("a", "temple", 4), donor("b", "temple", 7, "sand")]
    pairs = salvage._by_integer_programme(needs, donors)
    assert sum(donors[d].cost_minor for d in pairs.values()) == match(needs, donors).cost_minor
    assert len(pairs) == len(match(needs, donors).saved) == 2
