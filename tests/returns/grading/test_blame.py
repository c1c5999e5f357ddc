"""Shared blame: a failure that nobody can place is divided so that true odds are learned."""

from __future__ import annotations

from fractions import Fraction
from random import Random

import pytest

from returns.grading.sums.blame import Record, shares

# Typed 50 %, counted as five cases: what is learned is not merely what was typed.
TYPED = Record(2.5, 2.5)


def test_without_a_shared_failure_nobody_shares() -> None:
    assert shares({"glue": TYPED}, []) == {}


def test_failure_of_one_step_is_its_own() -> None:
    assert shares({"glue": TYPED}, [["glue"]]) == {"glue": (1, Fraction(1))}


def test_two_alike_bear_the_same_share_and_at_least_one_failure_between_them() -> None:
    found = shares({"glue": TYPED, "bend": TYPED}, [["glue", "bend"]])
    assert found["glue"] == found["bend"]
    assert found["glue"][1] + found["bend"][1] >= 1


def test_the_one_that_fails_alone_as_well_bears_more() -> None:
    records = {"glue": Record(4, 1, 40, 2), "bend": Record(4, 1, 20, 20)}
    found = shares(records, [["glue", "bend"]] * 10)
    assert found["bend"][1] > 4 * found["glue"][1]
    assert 10 <= found["bend"][1] + found["glue"][1] <= 20


def test_shares_are_where_one_more_round_changes_nothing() -> None:
    """At the end each share is what the odds with it give; worked by the rule itself."""
    records = {"glue": Record(4.5, 0.5, 30, 1), "bend": Record(3, 2, 10, 4)}
    failures = [["glue", "bend"], ["glue", "bend"], ["bend", "bend"]]
    found = shares(records, failures)
    odds = {key: records[key].odds(tries, float(bad)) for key, (tries, bad) in found.items()}
    pair = 1 - odds["glue"] * odds["bend"]
    assert float(found["glue"][1]) == pytest.approx(2 * (1 - odds["glue"]) / pair, abs=0.002)


def play(
    true: dict[str, float], checks: int, together: float, seed: int
) -> tuple[dict[str, Record], list[list[str]], dict[str, float]]:
    """A workshop's record: checks of one remedy or of both, where nobody can tell a failure of
    two apart. Also what blaming all of them would have taught."""
    dice = Random(seed)  # noqa: S311  a simulation needs repeatable chance
    counts = {key: [0, 0] for key in true}
    naive = {key: [0, 0] for key in true}
    failures = []
    for _check in range(checks):
        done = list(true) if dice.random() < together else [dice.choice(list(true))]
        held = {key: dice.random() < true[key] for key in done}
        for key in done:
            naive[key][0 if all(held.values()) else 1] += 1
        if all(held.values()) or len(done) == 1:
            for key in done:
                counts[key][0 if held[key] else 1] += 1
        else:
            failures.append(done)
    records = {key: Record(2.5, 2.5, *counts[key]) for key in true}
    blamed = {key: Record(2.5, 2.5, *naive[key]).odds() for key in true}
    return records, failures, blamed


def learned(records: dict[str, Record], failures: list[list[str]]) -> dict[str, float]:
    found = shares(records, failures)
    return {
        key: record.odds(*((found[key][0], float(found[key][1])) if key in found else (0, 0.0)))
        for key, record in records.items()
    }


@pytest.mark.parametrize("seed", range(5))
def test_true_odds_of_nine_in_ten_are_learned_though_both_always_share_a_check(seed: int) -> None:
    """Blaming both teaches about 0.81 of each; sharing teaches 0.9."""
    records, failures, blamed = play({"glue": 0.9, "bend": 0.9}, 2_000, 1.0, seed)
    for key, odds in learned(records, failures).items():
        assert odds == pytest.approx(0.9, abs=0.02)
        assert blamed[key] == pytest.approx(0.81, abs=0.03)


@pytest.mark.parametrize("seed", range(5))
def test_unlike_odds_are_learned_where_some_checks_are_of_one_step(seed: int) -> None:
    true = {"glue": 0.95, "bend": 0.7}
    records, failures, blamed = play(true, 4_000, 0.7, seed)
    found = learned(records, failures)
    for key, odds in true.items():
        assert found[key] == pytest.approx(odds, abs=0.025)
    assert blamed["glue"] < 0.8
