"""Grading at the bench. Figures are constructed from the makers' workshop and worked by hand.

Labour 2400 an hour is 40 a minute; postage 380; stripping takes 4 minutes (160); a new Avocet
costs 1450; no class price is set, so flake is worth nothing. Replacement: 160 + 1450 + 380 = 1990;
the ceiling is 1.2 times that, 2388.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

import pytest
from django.contrib.auth.models import User
from django.db import connections
from django.utils import translation

from inventory.errors import BadInput, KeyReused, NotEnough, StaleState
from inventory.models import Balance, ClassPrice, Event, OutboxMessage, Reservation
from inventory.parts import queries as part_stock
from inventory.parts import rules as stock
from returns.bench.queries.frames import version_of
from returns.grading.queries.facts import Seen
from returns.grading.rules import lookover
from returns.grading.rules.lookover import Look
from returns.models import Component, Grading, Policy, Remedy, RemedyPart, ReturnedFrame
from returns.story.sums.states import FrameState
from tests import furnished
from tests.makers import NOON, Shop, key
from tests.returns.bench_makers import filed, on_shelf

SNAPPED = Seen("arm_left", "snapped")
SCUFFED_LENS = Seen("lens_left", "scuffed")


@pytest.fixture
@furnished.once
def frame(shop: Shop, bea: User) -> ReturnedFrame:
    return on_shelf(shop, bea, filed(shop.avocet_slate))


def look(*seen: Seen, polymer: str = "ours", **changes: object) -> Look:
    return Look(findings=seen, polymer=polymer, **changes)  # type: ignore[arg-type]


def grade(frame: ReturnedFrame, by: User, look_: Look) -> Grading:
    return lookover.grade(key=key(), frame=frame, look=look_, at=NOON, by=by)


def overrule(frame: ReturnedFrame, by: User, outcome: str, reason: str = "seen by eye") -> Grading:
    return lookover.overrule(key=key(), frame=frame, outcome=outcome, reason=reason, at=NOON, by=by)


def held(code: str) -> int:
    row = Balance.objects.filter(place__code=code).first()
    return row.quantity if row else 0


def reasons(grading: Grading) -> list[str]:
    return [reason["key"] for reason in grading.sums["reasons"]]


def test_snapped_arm_is_repaired_with_its_sums(frame: ReturnedFrame, bea: User) -> None:
    """New arm: 8 min x 40 = 320, part 160; 0.96 x 380 + 0.04 x 1990 = 364.8 + 79.6: 925 up."""
    grading = grade(frame, bea, look(SNAPPED))
    plan, figures = grading.sums["plan"], grading.sums["figures"]
    assert (grading.computed, grading.decided) == ("repair", "repair")
    assert (plan["labour_minor"], plan["parts_minor"], plan["expected_minor"]) == (320, 160, 925)
    assert (figures["replacement_minor"], figures["ceiling_minor"]) == (1990, 2388)
    assert plan["remedies"][0]["remedy"] == "new-arm"
    assert plan["remedies"][0]["component"] == "arm_left"


def test_numbers_behind_a_grading_are_kept_with_the_values_that_tip_it(
    frame: ReturnedFrame, bea: User
) -> None:
    """844.8 + 0.04 x R against 1.2 x R in whole cents: at a replacement of 728, 873.92 is over.

    The odds: (480 + 1990 - 2388) / 1610 = 5.09 %. Eight minutes would have to be 44 and more.
    """
    kept = {one["number"]: one for one in grade(frame, bea, look(SNAPPED)).sums["tippings"]}
    anew = kept["new_frame_cost_minor"]
    assert (anew["now"], anew["at"], anew["then"]) == (1450, 1450 - (1990 - 728), "replace")
    assert anew["off_ppm"] == round(1_000_000 * (1990 - 728) / 1450)
    odds = kept["odds_ppm"]
    assert (odds["remedy"], odds["component"], odds["at"]) == ("new-arm", "arm_left", 50_000)
    assert (kept["minutes"]["now"], kept["minutes"]["at"]) == (8, None)
    assert kept["part_minor"]["part"]


def test_grading_that_a_limit_decided_has_no_tipping_values(
    frame: ReturnedFrame, bea: User
) -> None:
    assert grade(frame, bea, look(SNAPPED, polymer="foreign")).sums["tippings"] == []


def test_repaired_frame_lies_on_the_bench_with_its_parts_promised(
    frame: ReturnedFrame, shop: Shop, bea: User
) -> None:
    grade(frame, bea, look(SNAPPED))
    frame.refresh_from_db()
    assert (frame.state, held("arrivals"), held("bench")) == ("to_mend", 0, 24_820)
    assert part_stock.available(shop.arm) == 5
    assert Reservation.objects.get().subject == frame.tag
    assert OutboxMessage.objects.filter(payload__letter="graded").count() == 1


def test_grading_again_gives_the_earlier_parts_back(
    frame: ReturnedFrame, shop: Shop, bea: User
) -> None:
    grade(frame, bea, look(SNAPPED))
    grade(frame, bea, look(found_sound=True))
    frame.refresh_from_db()
    assert (frame.state, part_stock.available(shop.arm)) == ("to_mend", 6)
    assert Grading.objects.count() == 2


def test_last_arm_is_free_for_a_second_grading_of_the_same_frame(
    frame: ReturnedFrame, shop: Shop, bea: User
) -> None:
    stock.count(key=key(), part=shop.arm, counted=1, reason="counted", at=NOON)
    for _again in range(2):
        assert grade(frame, bea, look(SNAPPED)).computed == "repair"
    assert part_stock.available(shop.arm) == 0


def test_out_of_stock_waits_on_the_hold_shelf(frame: ReturnedFrame, shop: Shop, bea: User) -> None:
    stock.count(key=key(), part=shop.arm, counted=0, reason="counted", at=NOON)
    grading = grade(frame, bea, look(SNAPPED))
    assert (grading.decided, reasons(grading)) == ("hold", ["waiting-for-parts"])
    assert held("hold") == 24_820
    with pytest.raises(NotEnough):
        overrule(frame, bea, "repair")
    assert Grading.objects.count() == 1


def test_no_remedy_goes_to_be_stripped_when_the_customer_wished_so(
    frame: ReturnedFrame, bea: User
) -> None:
    grading = grade(frame, bea, look(SCUFFED_LENS))
    frame.refresh_from_db()
    assert (grading.decided, frame.state, held("bench")) == ("regrind", "to_strip", 24_820)
    assert reasons(grading) == ["no-remedy"]


def test_customer_who_wants_it_back_gets_it_back_and_it_is_never_ground(
    shop: Shop, bea: User
) -> None:
    frame = on_shelf(shop, bea, filed(shop.avocet_slate, wish="post_back"))
    grading = grade(frame, bea, look(SCUFFED_LENS))
    frame.refresh_from_db()
    assert (grading.decided, frame.state) == ("regrind", "to_return")


@pytest.mark.parametrize("polymer", ["ours", "unknown", "foreign"])
def test_frame_without_a_wish_is_never_sent_to_be_ground(
    shop: Shop, bea: User, polymer: str
) -> None:
    frame = on_shelf(shop, bea)
    assert grade(frame, bea, look(SCUFFED_LENS, polymer=polymer)).decided == "hold"
    with pytest.raises(BadInput) as refused:
        overrule(frame, bea, "regrind")
    assert refused.value.field == "outcome"


@pytest.mark.parametrize("polymer", ["unknown", "foreign"])
def test_plastic_that_is_not_ours_cannot_be_overruled_into_our_box(
    frame: ReturnedFrame, bea: User, polymer: str
) -> None:
    assert grade(frame, bea, look(SCUFFED_LENS, polymer=polymer)).decided == "hold"
    with pytest.raises(BadInput, match="plastic"):
        overrule(frame, bea, "regrind")


@pytest.mark.parametrize("polymer", ["ours", "unknown"])
def test_held_frame_that_is_wanted_back_is_given_up_towards_the_post_never_the_granulator(
    shop: Shop, bea: User, ben: User, polymer: str
) -> None:
    frame = on_shelf(shop, bea, filed(shop.avocet_slate, wish="post_back"))
    stock.count(key=key(), part=shop.arm, counted=0, reason="mislaid", at=NOON)
    assert grade(frame, bea, look(SNAPPED, polymer=polymer)).decided == "hold"
    OutboxMessage.objects.all().delete()
    given_up = overrule(frame, ben, "regrind", "the arm never comes")
    frame.refresh_from_db()
    assert (given_up.computed, given_up.decided) == ("hold", "regrind")
    assert (frame.state, held("bench")) == ("to_return", 24_820)
    (letter,) = OutboxMessage.objects.all()
    assert letter.payload["letter"] == "graded"


def test_frame_on_its_way_to_be_mended_goes_back_when_wanted_and_frees_its_parts(
    shop: Shop, bea: User
) -> None:
    frame = on_shelf(shop, bea, filed(shop.avocet_slate, wish="post_back"))
    grade(frame, bea, look(SNAPPED))
    overrule(frame, bea, "regrind")
    frame.refresh_from_db()
    assert (frame.state, part_stock.available(shop.arm)) == ("to_return", 6)


def test_change_of_mind_after_regrind_was_decided_is_carried_out_by_the_same_decision(
    frame: ReturnedFrame, bea: User
) -> None:
    grade(frame, bea, look(SCUFFED_LENS))
    data = {"wish": "post_back", "evidence": "email", "at": NOON, "by": bea}
    changed = lookover.record_wish(key=key(), frame=frame, **data)
    assert changed.state == "held"
    overrule(changed, bea, "regrind", "wanted back")
    changed.refresh_from_db()
    assert changed.state == "to_return"


def test_a_slip_that_would_send_a_frame_back_unmended_is_put_right_by_another_look(
    shop: Shop, bea: User
) -> None:
    frame = on_shelf(shop, bea, filed(shop.avocet_slate, wish="post_back"))
    grade(frame, bea, look(SCUFFED_LENS))
    frame.refresh_from_db()
    assert frame.state == "to_return"
    grade(frame, bea, look(SNAPPED))
    frame.refresh_from_db()
    assert (frame.state, part_stock.available(shop.arm)) == ("to_mend", 5)


def test_a_frame_on_its_way_back_that_may_be_ground_after_all_is_looked_over_first(
    shop: Shop, bea: User
) -> None:
    frame = on_shelf(shop, bea, filed(shop.avocet_slate, wish="post_back"))
    grade(frame, bea, look(SCUFFED_LENS))
    data = {"wish": "regrind", "evidence": "email", "at": NOON, "by": bea}
    changed = lookover.record_wish(key=key(), frame=frame, **data)
    assert (changed.state, held("hold")) == ("held", 24_820)
    grade(changed, bea, look(SCUFFED_LENS))
    changed.refresh_from_db()
    assert changed.state == "to_strip"


def test_wrong_colour_is_put_right_at_the_look_over_before_it_gets_into_a_box(
    shop: Shop, bea: User
) -> None:
    frame = on_shelf(shop, bea, filed(shop.avocet_slate), batch=shop.batch)
    grade(frame, bea, look(SCUFFED_LENS))
    with pytest.raises(BadInput) as refused:
        grade(frame, bea, look(SCUFFED_LENS, colourway=shop.avocet_moss, batch=shop.batch))
    assert refused.value.field == "batch"
    grade(frame, bea, look(SCUFFED_LENS, colourway=shop.avocet_moss))
    frame.refresh_from_db()
    assert (frame.colourway, frame.batch, frame.state) == (shop.avocet_moss, None, "to_strip")


def test_model_that_was_not_known_at_the_weigh_in_is_named_at_the_look_over(
    shop: Shop, bea: User
) -> None:
    frame = on_shelf(shop, bea, filed(shop.avocet_slate), colourway=None)
    assert grade(frame, bea, look(SNAPPED, colourway=shop.avocet_slate)).decided == "repair"
    frame.refresh_from_db()
    assert (frame.colourway, frame.massfit["verdict"]) == (shop.avocet_slate, "complete")


def test_stranger_gets_no_model_at_the_look_over(shop: Shop, bea: User) -> None:
    frame = on_shelf(shop, bea, colourway=None, is_stranger=True)
    with pytest.raises(BadInput) as refused:
        grade(frame, bea, look(SNAPPED, colourway=shop.avocet_slate))
    assert refused.value.field == "colourway"


def test_recorded_wish_opens_the_way_and_names_its_evidence(shop: Shop, bea: User) -> None:
    frame = on_shelf(shop, bea)
    assert reasons(grade(frame, bea, look(SCUFFED_LENS)))[-1] == "wish-unknown"
    frame = lookover.record_wish(
        key=key(), frame=frame, wish="regrind", evidence="phone", at=NOON, by=bea
    )
    assert grade(frame, bea, look(SCUFFED_LENS)).decided == "regrind"
    action = Event.objects.get(name="lookover.record_wish")
    assert action.detail == {"wish": "regrind", "evidence": "phone"}


@pytest.mark.parametrize(
    ("wish", "evidence", "field"), [("", "phone", "wish"), ("regrind", "", "evidence")]
)
def test_wish_without_content_or_evidence_is_refused(
    frame: ReturnedFrame, bea: User, wish: str, evidence: str, field: str
) -> None:
    with pytest.raises(BadInput) as refused:
        lookover.record_wish(key=key(), frame=frame, wish=wish, evidence=evidence, at=NOON, by=bea)
    assert refused.value.field == field


def test_change_of_mind_stops_a_frame_on_its_way_to_be_ground(
    frame: ReturnedFrame, bea: User
) -> None:
    grade(frame, bea, look(SCUFFED_LENS))
    changed = lookover.record_wish(
        key=key(), frame=frame, wish="post_back", evidence="email", at=NOON, by=bea
    )
    assert (changed.state, held("hold")) == ("held", 24_820)
    assert grade(changed, bea, look(SCUFFED_LENS)).sums["disposition"] == "post_back"


def test_overruling_keeps_what_was_computed_and_what_was_decided(
    frame: ReturnedFrame, shop: Shop, bea: User, ben: User
) -> None:
    grade(frame, bea, look(SNAPPED, Seen("hinge_left", "warped")))
    second = overrule(frame, ben, "regrind", " brittle all over ")
    frame.refresh_from_db()
    assert (second.computed, second.decided, second.by) == ("repair", "regrind", ben)
    assert second.overrule_reason == "brittle all over"
    assert {finding.component for finding in second.findings.all()} == {"arm_left", "hinge_left"}
    assert (frame.state, part_stock.available(shop.arm)) == ("to_strip", 6)


@pytest.mark.parametrize(
    ("outcome", "reason", "field"),
    [
        ("repair", "why not", "outcome"),
        ("burn", "why not", "outcome"),
        ("hold", "  ", "reason"),
        ("hold", "x" * 201, "reason"),
    ],
)
def test_bad_overruling_names_the_field(
    frame: ReturnedFrame, bea: User, outcome: str, reason: str, field: str
) -> None:
    grade(frame, bea, look(SNAPPED))
    with pytest.raises(BadInput) as refused:
        overrule(frame, bea, outcome, reason)
    assert refused.value.field == field


def test_overruling_before_a_look_over_is_refused(frame: ReturnedFrame, bea: User) -> None:
    with pytest.raises(BadInput, match="Look the frame over first"):
        overrule(frame, bea, "hold")


@pytest.mark.parametrize("state", sorted(set(FrameState) - lookover.REGRADABLE))
def test_frame_that_was_worked_on_is_not_graded(
    frame: ReturnedFrame, bea: User, state: str
) -> None:
    ReturnedFrame.objects.filter(pk=frame.pk).update(state=state)
    with pytest.raises(StaleState):
        grade(frame, bea, look(SNAPPED))
    assert not Grading.objects.exists()


def test_same_key_grades_once_and_other_content_is_refused(frame: ReturnedFrame, bea: User) -> None:
    one = key()
    first = lookover.grade(key=one, frame=frame, look=look(SNAPPED), at=NOON, by=bea)
    assert lookover.grade(key=one, frame=frame, look=look(SNAPPED), at=NOON, by=bea) == first
    with pytest.raises(KeyReused):
        lookover.grade(key=one, frame=frame, look=look(found_sound=True), at=NOON, by=bea)
    assert Grading.objects.count() == 1


def test_sound_with_findings_is_refused(frame: ReturnedFrame, bea: User) -> None:
    with pytest.raises(BadInput) as refused:
        grade(frame, bea, look(SNAPPED, found_sound=True))
    assert refused.value.field == "found_sound"
    with translation.override("de"), pytest.raises(BadInput, match="ist nicht in Ordnung"):
        grade(frame, bea, look(SNAPPED, found_sound=True))


@pytest.mark.parametrize(
    "seen", [Seen("nose", "snapped"), Seen("arm_left", "melted"), Seen("arm_left", "x", 1)]
)
def test_unknown_part_or_defect_is_refused(frame: ReturnedFrame, bea: User, seen: Seen) -> None:
    with pytest.raises(BadInput):
        grade(frame, bea, look(seen))


@pytest.mark.parametrize(("measured", "taken"), [(50_000, True), (50_001, False), (-1, False)])
def test_measured_length_at_and_beyond_its_bounds(
    frame: ReturnedFrame, bea: User, measured: int, taken: bool
) -> None:
    seen = Seen("arm_left", "hole_offset", measured)
    if taken:
        assert grade(frame, bea, look(seen)).findings.get().measured_um == measured
        return
    with pytest.raises(BadInput) as refused:
        grade(frame, bea, look(seen))
    assert refused.value.field == "um_arm_left_hole_offset"


def test_nothing_noted_is_held_until_somebody_looks(frame: ReturnedFrame, bea: User) -> None:
    assert reasons(grade(frame, bea, look())) == ["nothing-noted"]
    assert reasons(grade(frame, bea, look(found_sound=True))) == ["no-fault-found"]


def test_replacing_an_arm_answers_its_other_defects_at_once(
    frame: ReturnedFrame, bea: User
) -> None:
    """Snapped, warped and cracked at the hinge of the same side: one new arm, one part."""
    seen = [SNAPPED, Seen("arm_left", "warped"), Seen("hinge_left", "cracked_pivot")]
    plan = grade(frame, bea, look(*seen)).sums["plan"]
    assert len(plan["remedies"]) == 1
    assert plan["parts"] == {"arm-avocet": 1}


@pytest.mark.parametrize(("wall_um", "outcome"), [(899, "regrind"), (900, "repair")])
def test_step_up_needs_half_a_diameter_of_wall_after_it(
    frame: ReturnedFrame, bea: User, wall_um: int, outcome: str
) -> None:
    """M1.4 to M1.6: 0.5 x 1.6 mm + (1.6 - 1.4) / 2 mm = 0.9 mm today."""
    Component.objects.filter(key="arm_left").update(wall_um=wall_um)
    assert grade(frame, bea, look(Seen("hinge_left", "stripped_hole"))).computed == outcome


def test_wall_measured_at_the_bench_outweighs_the_drawing(frame: ReturnedFrame, bea: User) -> None:
    seen = Seen("hinge_left", "stripped_hole", 500)
    grading = grade(frame, bea, look(seen))
    assert grading.computed == "regrind"
    assert grading.sums["refusals"][0]["reason"]["key"] == "wall-too-thin"


@pytest.mark.parametrize(("offset_um", "outcome"), [(99, "repair"), (100, "regrind")])
def test_hole_offset_at_the_owners_limit_leaves_only_replacing(
    frame: ReturnedFrame, bea: User, offset_um: int, outcome: str
) -> None:
    Remedy.objects.create(
        key="ease",
        name="ease",
        component_kind="arm",
        defect="hole_offset",
        method="reshape",
        minutes=5,
        odds_ppm=900_000,
    )
    assert grade(frame, bea, look(Seen("arm_left", "hole_offset", offset_um))).computed == outcome


def test_glue_is_never_used_on_a_cracked_pivot(frame: ReturnedFrame, bea: User) -> None:
    Remedy.objects.filter(defect="cracked_pivot").update(method="glue")
    grading = grade(frame, bea, look(Seen("hinge_left", "cracked_pivot")))
    assert grading.computed == "regrind"
    assert grading.sums["refusals"][0]["reason"]["key"] == "banned-method"


@pytest.mark.parametrize(("mends", "outcome"), [(2, "repair"), (3, "regrind")])
def test_mends_before_at_the_limit(shop: Shop, bea: User, mends: int, outcome: str) -> None:
    frame = on_shelf(shop, bea, filed(shop.avocet_slate), mends_before=mends)
    assert grade(frame, bea, look(SNAPPED)).computed == outcome


def test_over_the_owners_ceiling_is_ground(frame: ReturnedFrame, bea: User) -> None:
    """Expected 925, of a replacement of 1990: a ceiling of 46.4 % is 923, of 46.5 % 925."""
    Policy.objects.update(ceiling_ppm=464_000)
    assert grade(frame, bea, look(SNAPPED)).computed == "regrind"
    Policy.objects.update(ceiling_ppm=465_000)
    assert grade(frame, bea, look(SNAPPED)).computed == "repair"


def test_material_credit_counts_the_frame_polymer_only(
    frame: ReturnedFrame, shop: Shop, bea: User
) -> None:
    """19 400 of 24 820 mg is plastic. 19.4 g x 95 % x (2000 - 300 - 200) / kg: 27, rounded down."""
    ClassPrice.objects.create(
        polymer=shop.pp,
        colour=shop.slate,
        origin="post_consumer_return",
        price_minor_per_kg=2000,
        to_complete_minor_per_kg=300,
        to_sell_minor_per_kg=200,
    )
    figures = grade(frame, bea, look(SNAPPED)).sums["figures"]
    assert figures["material_credit_minor"] == 27
    assert figures["replacement_minor"] == 1990 - 27


def test_remedy_whose_own_part_is_not_named_is_left_out(frame: ReturnedFrame, bea: User) -> None:
    polish = Remedy.objects.get(key="polish-front")
    RemedyPart.objects.create(remedy=polish, part=None)
    assert reasons(grade(frame, bea, look(Seen("bridge", "scuffed")))) == ["no-remedy"]


def test_batch_read_off_the_frame_names_its_model(shop: Shop, bea: User) -> None:
    frame = on_shelf(shop, bea, filed(shop.avocet_slate), colourway=None)
    assert reasons(grade(frame, bea, look(SNAPPED))) == ["model-unknown"]
    assert grade(frame, bea, look(SNAPPED, batch=shop.batch)).computed == "repair"
    frame.refresh_from_db()
    assert (frame.batch, frame.colourway) == (shop.batch, shop.avocet_slate)


def test_batch_of_another_colour_is_refused(shop: Shop, bea: User) -> None:
    frame = on_shelf(shop, bea, colourway=shop.avocet_moss)
    with pytest.raises(BadInput) as refused:
        grade(frame, bea, look(SNAPPED, batch=shop.batch))
    assert refused.value.field == "batch"


HANDS = 20


@pytest.mark.slow
@pytest.mark.django_db(transaction=True)
def test_of_many_hands_on_one_frame_the_first_decides_and_the_others_are_refused(
    shop: Shop, bea: User
) -> None:
    frame = on_shelf(shop, bea, filed(shop.avocet_slate))
    version, start = version_of(frame.tag), Barrier(HANDS)

    def decide(number: int) -> str:
        seen = SNAPPED if number % 2 else SCUFFED_LENS
        start.wait()
        try:
            lookover.grade(
                key=key(), frame=frame, look=look(seen), at=NOON, by=bea, seen_version=version
            )
        except StaleState:
            return "refused"
        finally:
            connections.close_all()
        return "decided"

    with ThreadPoolExecutor(HANDS) as pool:
        answers = list(pool.map(decide, range(HANDS)))
    assert sorted(answers) == ["decided"] + ["refused"] * (HANDS - 1)
    assert Grading.objects.count() == 1


def test_answer_reads_only_and_counts_parts_promised_to_the_frame_as_free_for_it(
    frame: ReturnedFrame, bea: User, shop: Shop
) -> None:
    stock.count(key=key(), part=shop.arm, counted=1, reason="one left", at=NOON)
    graded = grade(frame, bea, look(SNAPPED))
    frame.refresh_from_db()
    before = Event.objects.count()
    again = lookover.answer(frame=frame, look=look(SNAPPED))
    assert again == graded.sums
    assert Event.objects.count() == before
