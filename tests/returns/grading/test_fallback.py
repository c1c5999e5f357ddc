"""Go on mending or give up: priced by a simple rule, compared with dynamic programming."""

from __future__ import annotations

from random import Random

import pytest

from returns.grading.sums import fallback
from returns.grading.sums.fallback import Advice, Belief, Ends, Fix, Left, Place

ENDS = Ends(passed_minor=380, give_up_minor=1990)


def place(key: str, odds: float, *fixes: tuple[float, float]) -> Place:
    return Place(key, odds, tuple(Fix(f"{key}-{i}", *fix) for i, fix in enumerate(fixes)))


def test_one_known_failure_is_mended_again_where_that_is_cheaper() -> None:
    """Doing it twice: 400 + 0.8 x 380 + 0.2 x (400 + 0.8 x 380 + 0.2 x 1990) = 924.4."""
    places = [place("arm", 0.9, (400, 0.8))]
    found = fallback.advise(places, fallback.named(places, 0), ENDS)
    assert found.goes_on
    assert found.odds == pytest.approx(0.8)
    assert found.go_on_minor == pytest.approx(400 + 304 + 0.2 * (400 + 304 + 0.2 * 1990))


def test_hopeless_mend_is_given_up() -> None:
    places = [place("arm", 0.9, (900, 0.1))]
    found = fallback.advise(places, fallback.named(places, 0), ENDS)
    assert not found.goes_on
    assert found.give_up_minor == 1990


def test_dearer_remedy_that_holds_is_taken_over_a_cheap_one_that_does_not() -> None:
    places = [place("arm", 0.6, (300, 0.1), (500, 0.95))]
    found = fallback.advise(places, fallback.named(places, 0), ENDS)
    assert found.fix is not None
    assert found.fix.key == "arm-1"


def test_likeliest_failure_is_mended_first_where_nobody_can_tell() -> None:
    places = [place("arm", 0.95, (300, 0.9)), place("front", 0.6, (300, 0.9))]
    found = fallback.advise(places, fallback.unnamed(places, [0, 1]), ENDS)
    assert found.place is places[1]


def test_nothing_to_do_is_given_up() -> None:
    places = [place("arm", 0.9)]
    found = fallback.advise(places, fallback.named(places, 0), ENDS)
    assert (found.place, found.goes_on) == (None, False)


def test_belief_after_a_failure_that_nobody_can_place() -> None:
    """0.9 and 0.8: 0.28 fail; only the first 0.08, only the second 0.18, both 0.02."""
    places = [place("arm", 0.9), place("front", 0.8)]
    belief = fallback.unnamed(places, [0, 1])
    assert belief == pytest.approx({1: 0.08 / 0.28, 2: 0.18 / 0.28, 3: 0.02 / 0.28})
    passed, rest = fallback.after(belief, 1, 0.5)
    assert passed == pytest.approx(0.5 * 0.18 / 0.28)
    assert sum(rest.values()) == pytest.approx(1)


def best(places: list[Place], belief: Belief, ends: Ends, left: Left) -> float:
    """The least expected cost of all rows of fixes, by dynamic programming over beliefs."""
    found = ends.give_up_minor
    for (number, fix), tries in left.items():
        one = places[number].fixes[fix]
        if not tries or one.minor >= found:
            continue
        passed, rest = fallback.after(belief, number, one.odds)
        fewer = {**left, (number, fix): tries - 1}
        behind = best(places, rest, ends, fewer) if rest else ends.give_up_minor
        found = min(found, one.minor + passed * ends.passed_minor + (1 - passed) * behind)
    return found


def followed(places: list[Place], belief: Belief, ends: Ends) -> float:
    """What it really costs to ask for advice again after each failure, and to follow it."""
    left = fallback.tries(places)

    def step(belief: Belief, left: Left) -> float:
        now = [
            Place(
                one.key,
                one.odds,
                tuple(
                    fix if left[number, i] else Fix(fix.key, fix.minor, 0.0)
                    for i, fix in enumerate(one.fixes)
                ),
            )
            for number, one in enumerate(places)
        ]
        advice: Advice = fallback.advise(now, belief, ends)
        if not advice.goes_on or advice.place is None or advice.fix is None:
            return ends.give_up_minor
        number = now.index(advice.place)
        fix = advice.place.fixes.index(advice.fix)
        passed, rest = fallback.after(belief, number, advice.fix.odds)
        behind = ends.give_up_minor
        if rest:
            behind = step(rest, {**left, (number, fix): left[number, fix] - 1})
        return advice.fix.minor + passed * ends.passed_minor + (1 - passed) * behind

    return step(belief, left)


def drawn(dice: Random) -> tuple[list[Place], Belief, Ends]:
    """One to three places with up to four remedies in all, at bench prices; named or not."""
    shape = dice.choice([(2,), (1, 1), (2, 1), (2, 2), (1, 1, 1), (2, 1, 1)])
    places = [
        place(
            f"place-{number}",
            dice.uniform(0.5, 0.98),
            *((dice.uniform(80, 900), dice.uniform(0.3, 0.97)) for _ in range(count)),
        )
        for number, count in enumerate(shape)
    ]
    give_up = dice.uniform(900, 4_000)
    ends = Ends(dice.uniform(200, 600), give_up)
    if dice.random() < 0.5:
        return places, fallback.named(places, dice.randrange(len(places))), ends
    return places, fallback.unnamed(places, range(len(places))), ends


def compared(seed: int, count: int) -> tuple[float, float]:
    """What following the advice leaves on the table: of all costs, and at worst; as shares."""
    dice = Random(seed)  # noqa: S311  instances need repeatable chance
    spent, least, worst = 0.0, 0.0, 0.0
    for _instance in range(count):
        places, belief, ends = drawn(dice)
        optimum = best(places, belief, ends, fallback.tries(places))
        cost = followed(places, belief, ends)
        assert cost >= optimum - 1e-6
        spent, least = spent + cost, least + optimum
        worst = max(worst, cost / optimum - 1)
    return spent / least - 1, worst


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(3))
def test_advice_leaves_at_most_one_percent_of_the_cost_on_the_table(seed: int) -> None:
    share, _worst = compared(seed, 40)
    assert share <= 0.01
