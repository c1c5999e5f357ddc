"""The tables of states: constructed, so these checks pin the intent, not a source."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from returns.story.sums import states
from returns.story.sums.states import FrameState as F
from returns.story.sums.states import RequestKind as K
from returns.story.sums.states import RequestState as R
from returns.story.sums.states import is_final, sources, targets


def test_every_frame_state_has_a_row_and_can_be_reached_from_the_weigh_in() -> None:
    assert set(states.FRAME_STEPS) == set(F)
    assert reached(states.FRAME_STEPS, states.FRAME_STARTS) == set(F)


@pytest.mark.parametrize("kind", list(K))
def test_every_request_state_of_a_kind_can_be_reached_from_its_start(kind: K) -> None:
    steps = states.REQUEST_STEPS[kind]
    assert reached(steps, states.REQUEST_STARTS[kind]) == set(steps)


def reached(steps, starts):  # type: ignore[no-untyped-def]
    seen, queue = set(starts), list(starts)
    while queue:
        for follower in steps[queue.pop()] - seen:
            seen.add(follower)
            queue.append(follower)
    return seen


def test_every_request_state_belongs_to_a_kind() -> None:
    assert {state for steps in states.REQUEST_STEPS.values() for state in steps} == set(R)


@pytest.mark.parametrize("outcome", [F.HELD, F.TO_MEND, F.TO_STRIP, F.TO_RETURN])
def test_grading_is_possible_from_exactly_the_untouched_states(outcome: F) -> None:
    untouched = {F.WEIGHED, F.HELD, F.TO_MEND, F.TO_STRIP, F.TO_RETURN}
    assert untouched == states.REGRADABLE
    # Beside a grading, a repair given up and a strip-down undone lead there.
    never = {F.TO_RETURN} if outcome is F.TO_STRIP else set()
    assert sources(outcome) - {F.MENDING, F.BOXED} == untouched - never


def test_failed_check_leads_to_another_try_stripping_or_return_but_never_to_hold() -> None:
    assert targets(F.MENDING) == {F.MENDING, F.TO_STRIP, F.TO_RETURN, F.MENDED}
    assert targets(F.MENDING) - {F.MENDED} == states.AFTER_FAILED_CHECK


def test_only_a_boxed_frame_can_be_ground_and_only_a_stripped_one_boxed() -> None:
    assert sources(F.GROUND) == {F.BOXED}
    assert sources(F.BOXED) == {F.TO_STRIP}


def test_frame_to_go_back_as_it_is_can_be_looked_over_again_but_not_ground() -> None:
    assert targets(F.TO_RETURN) == {F.POSTED_AS_IS, F.HELD, F.TO_MEND, F.TO_RETURN}


def test_final_states_are_the_post_the_granulator_the_waste_and_an_undone_weigh_in() -> None:
    final = {F.POSTED, F.GROUND, F.POSTED_AS_IS, F.VOIDED, F.DISCARDED}
    assert {state for state in F if is_final(state)} == final


def test_only_a_frame_that_is_held_or_to_be_stripped_can_be_discarded() -> None:
    assert sources(F.DISCARDED) == {F.TO_STRIP, F.HELD}


def test_weigh_in_can_be_undone_only_before_anything_was_decided() -> None:
    assert sources(F.VOIDED) == {F.WEIGHED}


def test_settled_ends_a_kit_and_a_send_back_until_another_frame_follows() -> None:
    assert states.REQUEST_STEPS[K.SPARE_SCREWS][R.SETTLED] == frozenset()
    assert states.REQUEST_STEPS[K.SEND_BACK][R.SETTLED] == {R.ARRIVED}
    assert sources(R.SETTLED) == {R.ARRIVED, R.POSTED, R.REPORTED_MISSING}


def test_withdrawn_is_what_nothing_moved_for_and_what_was_so_before_a_parcel_came() -> None:
    assert sources(R.WITHDRAWN) == {R.AWAITED, R.RESERVED, R.WAITING_STOCK, R.ARRIVED}


def test_withdrawn_send_back_may_still_arrive_but_withdrawn_screws_are_over() -> None:
    assert states.REQUEST_STEPS[K.SEND_BACK][R.WITHDRAWN] == {R.ARRIVED}
    assert states.REQUEST_STEPS[K.SPARE_SCREWS][R.WITHDRAWN] == frozenset()


def test_a_request_rests_from_waiting_and_is_woken_by_its_link_or_its_parcel() -> None:
    assert sources(R.RESTING) == {R.AWAITED}
    assert targets(R.RESTING) == {R.AWAITED, R.ARRIVED}


def test_a_kind_has_no_states_of_the_other() -> None:
    assert R.POSTED not in states.REQUEST_STEPS[K.SEND_BACK]


def test_sources_are_never_empty_except_for_the_starts() -> None:
    assert {state for state in F if not sources(state)} == {F.WEIGHED}
    assert {state for state in R if not sources(state)} == set()


@given(st.sampled_from(list(F)), st.sampled_from(list(F)))
def test_sources_and_targets_of_frames_are_each_others_mirror(one: F, other: F) -> None:
    assert (one in sources(other)) == (other in targets(one))


@given(st.sampled_from(list(R)), st.sampled_from(list(R)))
def test_sources_and_targets_of_requests_are_each_others_mirror(one: R, other: R) -> None:
    assert (one in sources(other)) == (other in targets(one))


def test_stored_values_are_the_agreed_words() -> None:
    assert [state.value for state in R] == (
        [
            "awaited",
            "arrived",
            "settled",
            "withdrawn",
            "reserved",
            "waiting_stock",
            "posted",
            "reported_missing",
            "resting",
        ]
    )
    assert [state.value for state in F] == (
        [
            "weighed",
            "held",
            "to_mend",
            "mending",
            "mended",
            "posted",
            "to_strip",
            "to_return",
            "boxed",
            "ground",
            "posted_as_is",
            "voided",
            "discarded",
        ]
    )
