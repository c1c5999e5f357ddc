"""Days played again. Vectors are constructed; the properties hold for any of them."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from returns.salvage.sums.matching import Donor, Need, match, match_in_order
from returns.salvage.sums.replay import Giving, Replay, Served, Stay, Wanting, replay


def frame(key: str, first: int, last: int, *components: str) -> Wanting:
    needs = tuple(Need(key, component, "avocet", "moss") for component in components)
    return Wanting(key, needs, Stay(first, last))


def part(frame_key: str, first: int, last: int, component: str, cost: int = 10) -> Giving:
    donor = Donor(f"{frame_key}/{component}", component, "avocet", "moss", "b1", cost)
    return Giving(frame_key, donor, Stay(first, last))


def counts(found: Replay) -> tuple[int, int]:
    return found.best.saved, found.in_order.saved


def test_those_who_never_wait_together_do_not_meet() -> None:
    assert counts(replay([frame("one", 1, 3, "arm")], [part("d", 4, 9, "arm")])) == (0, 0)
    assert counts(replay([frame("one", 1, 4, "arm")], [part("d", 4, 9, "arm")])) == (1, 1)
    assert counts(replay([frame("one", 9, 12, "arm")], [part("d", 4, 9, "arm")])) == (1, 1)


def test_best_serves_two_frames_where_the_first_to_come_wants_both_parts() -> None:
    frames = [
        frame("both", 1, 9, "left", "right"),
        frame("l", 2, 9, "left"),
        frame("r", 3, 9, "right"),
    ]
    found = replay(frames, [part("d", 5, 6, "left"), part("d", 5, 6, "right")])
    assert counts(found) == (2, 1)
    assert found.best.day_of == {"l": 5, "r": 5}
    assert (found.best.cost_minor, found.in_order.cost_minor) == (20, 20)


def test_part_is_given_once_over_all_days() -> None:
    frames = [frame("one", 1, 9, "arm"), frame("two", 4, 9, "arm")]
    found = replay(frames, [part("d", 1, 9, "arm")])
    assert found.best.day_of == found.in_order.day_of == {"one": 1}


def test_saved_frame_is_no_donor_any_more() -> None:
    """It was given up and stripped in truth; saved, it would have kept its other arm."""
    frames = [frame("one", 1, 3, "left"), frame("two", 4, 6, "right")]
    parts = [part("d", 1, 2, "left"), part("one", 4, 6, "right")]
    assert counts(replay(frames, parts)) == (1, 1)
    assert counts(replay(frames, parts[1:])) == (1, 1)


def test_part_that_two_frames_want_at_once_is_contested_from_that_day_on() -> None:
    frames = [frame("one", 1, 9, "left", "right"), frame("two", 4, 9, "left")]
    parts = [part("d", 1, 9, "left"), part("e", 2, 9, "right", 5), part("f", 6, 9, "left")]
    late = replay(frames, [parts[0], parts[2]])
    assert late.in_order.contested == {"d/left": 4}
    third = part("g", 8, 9, "lens")
    both = [frame("one", 1, 9, "left", "right"), frame("two", 4, 9, "left", "right")]
    assert replay(both, [parts[0], third]).in_order.contested == {"d/left": 4}
    # Both are there on day 2: the first frame has gone when the second comes.
    early = replay(frames, parts)
    assert early.in_order.contested == {}
    assert early.in_order.day_of == {"one": 2, "two": 6}


def test_one_frame_that_lacks_two_pieces_contests_nothing_with_itself() -> None:
    found = replay([frame("one", 1, 9, "left", "right")], [part("d", 1, 9, "left")])
    assert found.in_order.contested == {}


def test_nothing_waiting_is_nothing_saved() -> None:
    assert replay([], []) == Replay(Served({}, 0, {}), Served({}, 0, {}))


stays = st.tuples(st.integers(1, 12), st.integers(0, 6)).map(lambda t: (t[0], t[0] + t[1]))
wishes = st.sets(st.sampled_from(["left", "right", "lens"]), min_size=1)
frames_ = st.lists(st.tuples(stays, wishes), max_size=6)
parts_ = st.lists(st.tuples(stays, st.sampled_from(["left", "right", "lens"])), max_size=8)


def built(
    frames: list[tuple[tuple[int, int], set[str]]], parts: list[tuple[tuple[int, int], str]]
) -> tuple[list[Wanting], list[Giving]]:
    return (
        [frame(f"f{n}", *stay, *sorted(wish)) for n, (stay, wish) in enumerate(frames)],
        [part(f"d{n}", *stay, component) for n, (stay, component) in enumerate(parts)],
    )


@given(frames_, parts_)
def test_best_saves_no_fewer_than_first_come_on_the_same_pool(
    frames: list[tuple[tuple[int, int], set[str]]], parts: list[tuple[tuple[int, int], str]]
) -> None:
    wanting, giving = built(frames, parts)
    needs = [need for one in wanting for need in one.needs]
    donors = [one.donor for one in giving]
    best, in_order = match(needs, donors), match_in_order(needs, donors)
    assert len(best.saved) >= len(in_order.saved)
    one_day = [Wanting(one.frame_key, one.needs, Stay(1, 1)) for one in wanting]
    all_day = [Giving(one.frame_key, one.donor, Stay(1, 1)) for one in giving]
    assert counts(replay(one_day, all_day)) == (len(best.saved), len(in_order.saved))


@given(frames_, parts_)
def test_each_frame_is_saved_while_it_and_enough_donors_waited(
    frames: list[tuple[tuple[int, int], set[str]]], parts: list[tuple[tuple[int, int], str]]
) -> None:
    wanting, giving = built(frames, parts)
    found = replay(wanting, giving)
    for served in (found.best, found.in_order):
        used = 0
        for one in wanting:
            day = served.day_of.get(one.frame_key)
            if day is not None:
                assert one.stay.holds(day)
                there = [part for part in giving if part.stay.holds(day)]
                kinds = {part.donor.component_key for part in there}
                assert {need.component_key for need in one.needs} <= kinds
                used += len(one.needs)
        assert served.cost_minor == 10 * used
        assert used <= len(giving)
