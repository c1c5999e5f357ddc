"""The owner's figures against books that were written by hand."""

from __future__ import annotations

import dataclasses
import json
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.contrib.auth.models import User

from inventory.errors import BadInput
from inventory.ledger.rules import ledger, places
from inventory.models import PlaceKind
from inventory.months.queries import recovered
from inventory.months.sums.calendar_month import Month
from inventory.weighing.queries.readings import sums_scale
from inventory.weighing.sums import weighing
from returns.figures.circularity.pages import shown
from returns.figures.circularity.queries.circularity import Circularity, circularity
from returns.figures.circularity.queries.indicators import indicators
from returns.figures.lifetimes.queries import lifetimes
from returns.figures.span.queries import Scope, Span
from returns.models import Colourway, FrameModel, ProductionBatch
from tests.makers import NOON, Shop, key
from tests.returns import owner_makers as made

pytestmark = pytest.mark.django_db

OCTOBER = Span(Month(2026, 10), Month(2026, 10))
YEAR = Span(Month(2025, 11), Month(2026, 10))


def figures(span: Span = OCTOBER, scope: Scope | None = None) -> Circularity:
    return circularity(span, scope or Scope())


def test_empty_books_give_no_figure_and_say_what_is_missing() -> None:
    found = figures()
    assert found.take_back.share is None
    assert found.take_back.missing is not None
    assert (found.take_back.missing.have, found.take_back.missing.need) == (0, 1)
    assert found.repair_share.missing is not None
    assert found.recovery_yield.missing is not None
    assert found.closed_loop.missing is not None
    assert found.recovered.mass_mg == 0
    assert found.losses == ()


def test_take_back_counts_first_returns_of_all_sold_by_the_end(shop: Shop) -> None:
    made.sold(shop.batch, m2026_02=60, m2026_09=20, m2026_11=30)
    made.frame(shop, at=NOON - timedelta(days=100))
    made.frame(shop)
    made.frame(shop, mends_before=1)
    found = figures()
    assert found.take_back.share is not None
    assert found.take_back.share.evidence == 80
    assert found.take_back.share.share == 2 / 80
    assert found.take_back.share.low < 2 / 80 < found.take_back.share.high
    assert found.take_back.share.method == "wilson"
    # Of the 80 one was back before October: one of 79 came in the span.
    assert found.take_back_in_span.share is not None
    assert found.take_back_in_span.share.evidence == 79
    assert found.counts.received == 2


def test_more_returns_than_sales_is_missing_evidence_not_a_rate(shop: Shop) -> None:
    made.sold(shop.batch, m2026_02=1)
    made.frame(shop)
    made.frame(shop)
    found = figures()
    assert found.take_back.missing is not None
    assert (found.take_back.missing.have, found.take_back.missing.need) == (1, 2)


def test_frames_of_other_makes_and_undone_weigh_ins_are_not_counted(shop: Shop) -> None:
    made.frame(shop, colourway=None, batch=None, is_stranger=True)
    made.end(made.frame(shop), "voided", days=0)
    assert figures().counts.received == 0


@pytest.mark.parametrize(
    ("moment", "is_in"),
    [
        # Berlin is one hour ahead of UTC after 25 October 2026, two before.
        (datetime(2026, 9, 30, 21, 59, 59, tzinfo=UTC), False),
        (datetime(2026, 9, 30, 22, 0, tzinfo=UTC), True),
        (datetime(2026, 10, 31, 22, 59, 59, tzinfo=UTC), True),
        (datetime(2026, 10, 31, 23, 0, tzinfo=UTC), False),
    ],
)
def test_the_month_is_the_workshops_local_month(shop: Shop, moment: datetime, is_in: bool) -> None:
    made.frame(shop, at=moment)
    assert figures().counts.received == int(is_in)


def test_repair_share_is_of_frames_whose_fate_was_carried_out(shop: Shop) -> None:
    made.posted(shop)
    made.posted(shop)
    made.boxed(shop)
    made.posted(shop, kind="as_is")
    made.frame(shop)
    found = figures()
    assert found.repair_share.share is not None
    assert (found.repair_share.share.share, found.repair_share.share.evidence) == (0.5, 4)
    counts = found.counts
    assert (counts.mended, counts.reground, counts.posted_as_is, counts.discarded) == (2, 1, 1, 0)


def test_a_boxed_frame_counts_before_it_is_ground(shop: Shop) -> None:
    """Boxes wait for a run; leaving them out would make the repair share look better."""
    made.posted(shop)
    assert made.boxed(shop).ended_at is None
    found = figures()
    assert found.repair_share.share is not None
    assert found.repair_share.share.share == 0.5


def test_lenses_posted_after_grinding_are_no_second_outcome(shop: Shop) -> None:
    frame = made.boxed(shop)
    bench = places.mass(PlaceKind.BENCH)
    lens = made.frame(shop)
    made.move("carry", [(made.shelf(), bench, 5_200, None)], subject=frame.tag)
    out = places.mass(PlaceKind.WEARERS)
    made.move("post_frame", [(bench, out, 5_200, None)], subject=frame.tag, reason="lenses")
    assert lens.ended_at is None
    assert figures().counts.ended == 1


def test_what_is_stripped_without_a_box_was_discarded(shop: Shop) -> None:
    frame = made.frame(shop)
    waste = places.mass(PlaceKind.FOREIGN)
    made.move("strip_down", [(made.shelf(), waste, 24_820, None)], subject=frame.tag)
    assert figures().counts.discarded == 1


def test_a_reversed_posting_counts_back_in_the_month_of_its_reversal(shop: Shop) -> None:
    frame = made.posted(shop)
    movement = ledger.Movement.objects.get(kind="post_frame", subject=frame.tag)
    later = NOON + timedelta(days=30)
    ledger.reverse(key=key(), movement=movement, reason="came back", at=later)
    assert figures().counts.mended == 1
    assert figures(Span(Month(2026, 10), Month(2026, 11))).counts.mended == 0


def test_what_is_done_again_after_it_was_taken_back_counts_once(shop: Shop) -> None:
    """As the month's report counts it, however often it was taken apart and put together again."""
    frame = made.boxed(shop)
    for _again in range(2):
        movement = ledger.Movement.objects.filter(kind="strip_down", reverses=None).latest("pk")
        ledger.reverse(key=key(), movement=movement, reason="slip", at=NOON + timedelta(days=4))
        legs = [(p.source, p.target, p.quantity, p.reading) for p in movement.postings.all()]
        made.move("strip_down", legs, at=NOON + timedelta(days=5), subject=frame.tag)
    assert recovered.of_month("2026-10").frames.reground.quantity == 1
    assert figures().counts.reground == 1


def test_a_weigh_out_is_no_outcome_whatever_reason_was_typed(shop: Shop) -> None:
    frame = made.frame(shop)
    bench, gone = places.mass(PlaceKind.BENCH), places.mass(PlaceKind.UNEXPLAINED)
    made.move("carry", [(made.shelf(), bench, made.WHOLE_MG, None)], subject=frame.tag)
    made.move("post_frame", [(bench, gone, 20, None)], subject=frame.tag, reason="mended")
    assert recovered.of_month("2026-10").frames.mended.quantity == 0
    assert figures().counts.mended == 0


def test_recovered_mass_has_the_uncertainty_of_its_readings(shop: Shop) -> None:
    made.boxed(shop)
    made.boxed(shop)
    found = figures().recovered
    assert found.mass_mg == 38_800
    assert found.readings == 2
    assert found.unweighed_mg == 0
    # Derived by hand. Own part: d = 1 mg twice, 1/sqrt(6) each. Shared: class II up to 5000 e
    # (50 g), so 0.5 e = 5 mg, doubled in service, as a rectangle, and twice on one scale.
    own, shared = (2 / 6) ** 0.5, 2 * 10 / 3**0.5
    assert found.expanded_mg == pytest.approx(2 * (own**2 + shared**2) ** 0.5, rel=1e-3)


def test_a_scale_shares_its_error_until_its_next_check_here_as_in_the_month_report(
    shop: Shop,
) -> None:
    made.boxed(shop)
    made.boxed(shop)
    shop.fine_scale.check_due = date(2028, 6, 30)
    shop.fine_scale.save()
    made.boxed(shop)
    found = figures().recovered
    # Derived by hand from the same limits as above: two readings share one error, the third,
    # after a new check, has its own, and the two errors add as root sum of squares.
    own, shared = (3 / 6) ** 0.5, (2 * 10 / 3**0.5, 10 / 3**0.5)
    expected = 2 * (own**2 + shared[0] ** 2 + shared[1] ** 2) ** 0.5
    assert found.expanded_mg == pytest.approx(expected, rel=1e-3)
    month = recovered.of_month("2026-10")
    stated = month.total.known_of("credited")
    assert found.expanded_mg == pytest.approx(stated.expanded_ug / 1000, abs=0.001)
    assert found.expanded_mg == pytest.approx(month.trust.expanded_ug / 1000, abs=0.001)


def test_a_reversed_strip_down_leaves_nothing(shop: Shop) -> None:
    frame = made.boxed(shop)
    movement = ledger.Movement.objects.get(kind="strip_down", subject=frame.tag)
    ledger.reverse(key=key(), movement=movement, reason="wrong box", at=NOON)
    found = figures()
    assert found.counts.reground == 0
    assert found.recovered.mass_mg == 0
    assert found.recovered.expanded_mg == 0
    assert found.losses == ()


def test_losses_are_named_by_step_and_cause(shop: Shop, bea: User, ben: User) -> None:
    made.boxed(shop)
    made.ground(shop, bea, ben, flake_mg=19_000)
    rows = {(loss.stage, loss.cause): loss for loss in figures().losses}
    assert {name: loss.mass_mg for name, loss in rows.items()} == {
        ("strip_down", "lens"): 5_200,
        ("strip_down", "metal"): 200,
        ("strip_down", "unexplained"): 20,
        ("grind", "dust"): 400,
    }
    assert {name for name, loss in rows.items() if loss.expanded_mg is not None} == set()
    assert rows["strip_down", "lens"].share == 5_200 / 24_820
    assert rows["grind", "dust"].share == 400 / 19_400


def test_a_weighed_loss_has_its_uncertainty_and_one_half_weighed_has_none(shop: Shop) -> None:
    bench, lens = places.mass(PlaceKind.BENCH), places.mass(PlaceKind.LENS)
    made.frame(shop)
    made.move("carry", [(made.shelf(), bench, 24_820, None)])
    reading = made.read(shop.fine_scale, 5_200)
    made.move("strip_down", [(bench, lens, 5_200, reading)], subject="F-1")
    (loss,) = figures().losses
    assert loss.expanded_mg == pytest.approx(
        2 * (reading.u_own_ug**2 + reading.u_shared_ug**2) ** 0.5 / 1000
    )
    made.move("strip_down", [(bench, lens, 5_000, None)], subject="F-2")
    (loss,) = figures().losses
    assert (loss.mass_mg, loss.expanded_mg) == (10_200, None)


def test_recovery_yield_is_flake_out_of_box_mass(shop: Shop, bea: User, ben: User) -> None:
    frame = made.boxed(shop)
    run = made.ground(shop, bea, ben, flake_mg=19_000)
    frame.state, frame.lot = "ground", run.lot
    frame.save()
    found = figures()
    assert found.recovery_yield.share is not None
    assert found.recovery_yield.share.share == 19_000 / 19_400
    assert found.recovery_yield.share.low < 19_000 / 19_400 < found.recovery_yield.share.high
    assert (found.runs, found.ground.mass_mg, found.flake.mass_mg) == (1, 19_400, 19_000)


def test_a_yield_of_mass_that_nobody_weighed_has_no_range(shop: Shop, bea: User, ben: User) -> None:
    """10 g were booked into the box before the books knew of frames."""
    frame = made.boxed(shop)
    box = places.box(polymer=shop.pp, colour=shop.slate, origin="post_consumer_return")
    made.move("receive_feedstock", [(places.mass(PlaceKind.SELLERS), box, 10_000, None)])
    run = made.ground(shop, bea, ben, flake_mg=29_000)
    frame.state, frame.lot = "ground", run.lot
    frame.save()
    found = figures()
    data = found.recovery_yield.share
    assert data is not None
    assert found.ground.unweighed_mg == 10_000
    assert data.low == data.share == data.high == 29_000 / 29_400
    assert data.method == "booked masses"
    outflow = indicators(OCTOBER, Scope(), found).outflow
    assert outflow.method == "booked masses"
    recycled = next(one for one in outflow.shares if one.category == "recycled")
    assert (recycled.low_percent, recycled.high_percent, recycled.expanded_mg) == (None,) * 3


def test_in_process_scrap_is_never_recycled_content(shop: Shop) -> None:
    """Check after ISO 14021 (in-process scrap is no recycled content; read second-hand), with a
    constructed month: 42.5 g reclaimed, 7.5 g virgin, 6 g own scrap give 85 %, not 86.6 %."""
    made.issued(shop, "post_consumer_feedstock", 30_000)
    made.issued(shop, "post_consumer_return", 12_500)
    made.issued(shop, "virgin", 7_500)
    made.issued(shop, "in_process", 6_000)
    found = figures()
    assert found.content.recycled_share == pytest.approx(0.85)
    assert found.content.in_process_mg == 6_000
    assert found.content.counted_mg == 50_000
    assert found.closed_loop.share is not None
    assert found.closed_loop.share.share == 0.25
    assert found.content.issues == 4
    for judged in (found.recycled_content, found.closed_loop):
        assert judged.share is not None
        assert judged.share.low == judged.share.share == judged.share.high
        assert judged.share.method == "booked masses"


def test_shares_of_what_was_issued_have_the_range_of_their_weighings(shop: Shop) -> None:
    for origin, mass_mg in (("post_consumer_return", 12_500), ("virgin", 7_500)):
        made.issued(shop, origin, mass_mg, scale=shop.fine_scale)
    found = figures()
    share = found.recycled_content.share
    assert share is not None
    assert share == found.closed_loop.share
    assert share.share == 0.625
    assert share.method == "propagation of weighing uncertainty"
    # By hand from the scale: own parts as squares, the common part with its sign.
    step, common = (
        weighing.step_uncertainty_mg(sums_scale(shop.fine_scale), tared=True),
        [
            weighing.calibration_uncertainty_mg(sums_scale(shop.fine_scale), mass_mg)
            for mass_mg in (12_500, 7_500)
        ],
    )
    own_mg2 = (0.375**2 + 0.625**2) * step**2
    shared_mg2 = (0.375 * common[0] - 0.625 * common[1]) ** 2
    assert share.high - share.share == pytest.approx(
        2 * (own_mg2 + shared_mg2) ** 0.5 / 20_000, rel=0.02
    )


def test_masses_issued_salvaged_and_ground_say_how_well_they_are_known(
    shop: Shop, bea: User, ben: User
) -> None:
    """By hand, our own case: a reading up to 50 g on the fine scale has 0.408 mg of its own and
    5.774 mg that all its readings share, so U = 2 * hypot = 11.577 mg for one, and for the sum of
    two 2 * hypot(0.408 * 1.4142, 2 * 5.774) = 23.125 mg."""
    for origin, mass_mg in (("post_consumer_return", 12_500), ("virgin", 7_500)):
        made.issued(shop, origin, mass_mg, scale=shop.fine_scale)
    made.issued(shop, "in_process", 6_000)
    made.issued(shop, "unheard_of", 1_000)
    frame = made.boxed(shop)
    run = made.ground(shop, bea, ben, flake_mg=19_000)
    made.end(frame, "ground", days=3)
    frame.lot = run.lot
    frame.save()
    found = figures()
    weighed = found.content.weighed
    for name in weighed:
        assert weighed[name].mass_mg == getattr(found.content, f"{name}_mg")
    one, two = pytest.approx(11.577, abs=0.001), pytest.approx(23.125, abs=0.001)
    assert weighed["post_consumer_return"].expanded_mg == one
    assert (weighed["virgin"].expanded_mg, weighed["virgin"].unweighed_mg) == (one, 1_000)
    assert (weighed["counted"].expanded_mg, weighed["counted"].unweighed_mg) == (two, 1_000)
    assert (weighed["in_process"].readings, weighed["in_process"].unweighed_mg) == (0, 6_000)
    assert (weighed["unknown"].mass_mg, weighed["unknown"].unweighed_mg) == (1_000, 1_000)
    assert (found.ground.expanded_mg, found.ground.unweighed_mg) == (one, 0)
    assert (found.flake.expanded_mg, found.flake.readings) == (one, 1)
    assert found.salvaged.mass_mg == 0


def test_only_own_scrap_issued_gives_no_share(shop: Shop) -> None:
    made.issued(shop, "in_process", 6_000)
    found = figures()
    assert found.content.recycled_share is None
    assert found.closed_loop.missing is not None


def test_a_reversed_issue_does_not_count(shop: Shop) -> None:
    made.issued(shop, "post_consumer_return", 10_000)
    wrong = made.issued(shop, "virgin", 90_000)
    ledger.reverse(key=key(), movement=wrong, reason="typed twice", at=NOON)
    found = figures()
    assert found.content.recycled_share == 1.0
    assert found.content.issues == 1
    assert found.recycled_content.share is not None
    assert found.recycled_content.share.low == found.recycled_content.share.high == 1.0


def test_a_model_or_batch_sees_only_its_own(shop: Shop) -> None:
    dunlin = FrameModel.objects.create(code="dunlin", name="Dunlin", new_frame_cost_minor=1)
    other = Colourway.objects.create(model=dunlin, polymer=shop.pp, colour=shop.slate)
    batch = ProductionBatch.objects.create(
        code="DU-1", colourway=other, made_on=date(2026, 3, 1), pieces=50, heat=[[2, 1_000_000]]
    )
    made.sold(shop.batch, m2026_02=50)
    made.sold(batch, m2026_04=50)
    made.boxed(shop)
    made.posted(shop, colourway=other, batch=batch)
    made.issued(shop, "post_consumer_return", 10_000)
    made.issued(shop, "virgin", 5_000, batch="DU-1")
    avocet = figures(scope=Scope(shop.avocet))
    assert (avocet.counts.reground, avocet.counts.mended, avocet.counts.sold_ever) == (1, 0, 50)
    assert avocet.recovered.mass_mg == 19_400
    assert avocet.content.recycled_share == 1.0
    one_batch = figures(scope=Scope.of_codes(batch="DU-1"))
    assert (one_batch.counts.reground, one_batch.counts.mended) == (0, 1)
    assert one_batch.recovered.mass_mg == 0
    assert one_batch.content.recycled_share == 0.0
    assert figures().counts.ended == 2


@pytest.mark.parametrize(
    ("facts", "field"),
    [
        ({"model": "no-such"}, "model"),
        ({"batch": "no-such"}, "batch"),
        ({"model": "dunlin", "batch": "AV-2601"}, "batch"),
    ],
)
def test_unknown_scope_names_its_field(shop: Shop, facts: dict[str, str], field: str) -> None:
    FrameModel.objects.create(code="dunlin", name="Dunlin", new_frame_cost_minor=1)
    with pytest.raises(BadInput) as refused:
        Scope.of_codes(**facts)
    assert refused.value.field == field


@pytest.mark.parametrize(
    ("first", "last", "field"),
    [
        ("2026-11", "2026-10", "last"),
        ("2016-10", "2026-10", "first"),
        ("october", "2026-10", "first"),
        ("2026-10", "2026-13", "last"),
    ],
)
def test_a_span_that_is_none_names_its_field(first: str, last: str, field: str) -> None:
    with pytest.raises(BadInput) as refused:
        Span.parse(first, last)
    assert refused.value.field == field


def test_a_span_of_120_months_is_the_longest() -> None:
    assert len(Span.parse("2016-11", "2026-10").months) == 120


def test_the_figures_can_be_written_as_json(shop: Shop) -> None:
    made.boxed(shop)
    data: dict[str, Any] = json.loads(json.dumps(dataclasses.asdict(figures())))
    assert data["recovered"]["mass_mg"] == 19_400


def test_the_number_of_questions_does_not_grow_with_the_books(
    shop: Shop, bea: User, ben: User, django_assert_num_queries: Any
) -> None:
    # Scope counts 3 (sold, frames, outcomes); legs 2; recovered and salvaged 1; runs 1; ground and
    # flake 2; losses 2; issues 3.
    made.boxed(shop)
    made.ground(shop, bea, ben, flake_mg=19_000)
    with django_assert_num_queries(15):
        figures(YEAR)
    for _ in range(4):
        made.boxed(shop)
        made.posted(shop)
    with django_assert_num_queries(15):
        figures(YEAR)


def test_indicator_needs_a_model_sales_issues_and_a_run(shop: Shop, bea: User, ben: User) -> None:
    def asked(scope: Scope) -> str:
        found = indicators(OCTOBER, scope, figures(scope=scope)).material_circularity
        return found.missing.of if found.missing else "none"

    model = Scope(shop.avocet)
    assert asked(Scope()) == "models"
    made.sold(shop.batch, m2026_02=29)
    assert asked(model) == "sold units"
    made.sold(shop.batch, m2026_03=1)
    assert asked(model) == "issues to moulding"
    made.issued(shop, "post_consumer_feedstock", 30_000)
    assert asked(model) == "grind runs"
    made.boxed(shop)
    made.ground(shop, bea, ben, flake_mg=19_000)
    assert asked(model) == "none"


def test_indicator_of_measured_flows_matches_the_sum_by_hand(
    shop: Shop, bea: User, ben: User
) -> None:
    """Derived: formulas of the Circularity Indicators methodology (2015/2019), by hand here."""
    made.sold(shop.batch, m2026_02=40)
    for _ in range(4):
        made.boxed(shop)
    made.issued(shop, "post_consumer_feedstock", 30_000)
    made.issued(shop, "virgin", 10_000)
    made.ground(shop, bea, ben, flake_mg=73_720)
    scope = Scope(shop.avocet)
    found = indicators(OCTOBER, scope, figures(scope=scope)).material_circularity
    efficiency = 73_720 / 77_600
    frame, rest = 19_400, 5_420
    collected = 4 * 19_400 / (40 * frame)
    virgin = frame * 0.25 + rest
    discarded = frame * (1 - collected) + rest
    after_use = frame * (1 - efficiency) * collected
    feedstock = frame * (1 - efficiency) * 0.75 / efficiency
    waste = discarded + (after_use + feedstock) / 2
    index = (virgin + waste) / (2 * (frame + rest) + (feedstock - after_use) / 2)
    assert found.figure == pytest.approx(1 - 0.9 * index)
    assert found.low is not None
    assert found.high is not None
    assert found.low < found.figure < found.high


def test_life_enters_the_indicator_once_half_of_the_frames_came_back(
    shop: Shop, bea: User, ben: User
) -> None:
    """By hand: all else alike, what misses to 1 is divided by the measured X."""
    made.sold(shop.batch, m2026_02=15, m2026_05=15)
    made.boxed(shop)
    made.ground(shop, bea, ben, flake_mg=19_000)
    for _ in range(15):
        made.boxed(shop)
    made.issued(shop, "post_consumer_feedstock", 30_000)
    shop.avocet.expected_life_months = 5
    scope = Scope(shop.avocet)
    found = indicators(OCTOBER, scope, figures(scope=scope)).material_circularity
    fit = lifetimes.lifetimes(lifetimes.cohorts(scope, as_of=OCTOBER.last)).fit
    assert fit is not None
    assert found.use == pytest.approx(fit.mean / 5)
    shop.avocet.expected_life_months = 6
    strict = indicators(OCTOBER, scope, figures(scope=scope)).material_circularity
    assert found.figure is not None
    assert strict.figure is not None
    assert 0 < strict.figure < found.figure
    assert 1 - strict.figure == pytest.approx(1.2 * (1 - found.figure))


def test_life_is_the_trades_while_more_than_half_are_out(shop: Shop, bea: User, ben: User) -> None:
    made.sold(shop.batch, m2026_02=25, m2026_05=25)
    made.boxed(shop)
    made.ground(shop, bea, ben, flake_mg=19_000)
    for _ in range(7):
        made.boxed(shop)
    made.issued(shop, "post_consumer_feedstock", 30_000)
    scope = Scope(shop.avocet)
    found = indicators(OCTOBER, scope, figures(scope=scope)).material_circularity
    assert (found.use, found.knows_life) == (None, True)
    assert "half are out" in shown.spread_words(found)


def test_flows_balance_and_name_what_does_not_apply(shop: Shop, bea: User, ben: User) -> None:
    made.boxed(shop)
    made.posted(shop)
    made.posted(shop, kind="as_is")
    made.ground(shop, bea, ben, flake_mg=18_430)
    made.issued(shop, "post_consumer_return", 15_000)
    made.issued(shop, "virgin", 5_000)
    more = indicators(OCTOBER, Scope(), figures())
    inflow = {one.category: one.percent for one in more.inflow.shares}
    assert inflow == {"reused": 0, "recycled": 75, "renewable": 0, "linear": 25}
    outflow = {one.category: one for one in more.outflow.shares}
    assert more.outflow.total_mg == 3 * 24_820
    assert outflow["reused"].mass_mg == 24_820
    assert outflow["recycled"].mass_mg == 18_430
    assert sum(one.mass_mg for one in more.outflow.shares) == more.outflow.total_mg
    assert all(one.not_applicable for one in more.outflow.shares if one.category == "biological")


def test_the_outflow_has_a_range_that_the_count_of_frames_rules(
    shop: Shop, bea: User, ben: User
) -> None:
    frame = made.boxed(shop)
    for _ in range(4):
        made.posted(shop)
    made.posted(shop, kind="as_is")
    run = made.ground(shop, bea, ben, flake_mg=18_430)
    frame.state, frame.lot = "ground", run.lot
    frame.save()
    found = indicators(OCTOBER, Scope(), figures()).outflow
    assert (found.evidence, found.of) == (6, "frames")
    assert "simulation" in found.method
    for one in found.shares:
        if one.category == "biological":
            assert one.low_percent is one.high_percent is None
        else:
            assert one.low_percent is not None
            assert one.high_percent is not None
            assert 0 <= one.low_percent < one.percent < one.high_percent <= 100
    # Four of six frames of one mass: Jeffreys' interval of the count, near enough.
    reused = next(one for one in found.shares if one.category == "reused")
    assert reused.low_percent == pytest.approx(29, abs=3)
    assert reused.high_percent == pytest.approx(92, abs=3)
    # In grams the count has no part: four weigh-outs, and the weigh-in of the frame whose lenses
    # nobody weighed; each has 0.408 mg of its own and 5.774 mg that the scale shares.
    grams = {one.category: one.expanded_mg for one in found.shares}
    assert grams["reused"] == pytest.approx(2 * (5 * 0.408**2 + (5 * 5.774) ** 2) ** 0.5, abs=0.01)
    assert grams["biological"] is None
    assert grams["recycled"] > 2 * 5.774 * 18_430 / 19_400


def test_frames_that_were_taken_back_are_not_counted_in_the_outflow(shop: Shop) -> None:
    made.posted(shop)
    frame = made.posted(shop)
    movement = ledger.Movement.objects.get(kind="post_frame", subject=frame.tag)
    ledger.reverse(key=key(), movement=movement, reason="came back", at=NOON)
    found = indicators(OCTOBER, Scope(), figures()).outflow
    assert (found.evidence, found.total_mg) == (1, 24_820)


def test_more_taken_back_than_went_out_is_no_share(shop: Shop) -> None:
    frame = made.posted(shop)
    movement = ledger.Movement.objects.get(kind="post_frame", subject=frame.tag)
    ledger.reverse(key=key(), movement=movement, reason="back", at=NOON + timedelta(days=30))
    november = Span(Month(2026, 11), Month(2026, 11))
    found = indicators(november, Scope(), figures(november)).outflow
    assert found.shares == ()
    assert found.missing is not None


def test_the_inflow_has_the_range_of_its_weighings_and_none_from_booked_masses(
    shop: Shop,
) -> None:
    made.issued(shop, "post_consumer_return", 15_000, scale=shop.fine_scale)
    made.issued(shop, "virgin", 5_000, scale=shop.fine_scale)
    stated = figures()
    recycled = stated.recycled_content.share
    assert recycled is not None
    inflow = {one.category: one for one in indicators(OCTOBER, Scope(), stated).inflow.shares}
    assert inflow["recycled"].low_percent == pytest.approx(100 * recycled.low)
    assert inflow["linear"].high_percent == pytest.approx(100 - 100 * recycled.low)
    assert inflow["linear"].low_percent == pytest.approx(100 - 100 * recycled.high)
    made.issued(shop, "virgin", 5_000)
    # One reading each of 0.408 mg of its own and 5.774 mg that the scale shares.
    one_mg = 2 * (0.408**2 + 5.774**2) ** 0.5
    assert [one.expanded_mg for one in inflow.values() if one.mass_mg] == pytest.approx(
        [one_mg, one_mg], abs=0.001
    )
    booked = indicators(OCTOBER, Scope(), figures()).inflow
    assert booked.method == "booked masses"
    assert {one.low_percent for one in booked.shares} == {None}
    shares = {one.category: one.expanded_mg for one in booked.shares}
    assert shares == {
        "reused": None,
        "renewable": None,
        "recycled": pytest.approx(one_mg, abs=0.001),
        "linear": None,
    }


def test_mean_lives_weighs_batches_by_moulded_mass(shop: Shop) -> None:
    ProductionBatch.objects.create(
        code="AV-2602",
        colourway=shop.avocet_slate,
        made_on=date(2026, 2, 1),
        pieces=40,
        heat=[[2, 500_000], [4, 500_000]],
    )
    found = indicators(YEAR, Scope(shop.avocet), figures()).mean_lives
    assert found.figure == pytest.approx((120 * 2 + 40 * 3) / 160)
    # One model alone: its mass weighs nothing against itself, and no frame's batch is unknown.
    assert (found.low, found.high) == pytest.approx((found.figure, found.figure))
    assert (found.evidence, found.of) == (2, "production batches")


def test_frames_of_unknown_batch_widen_the_mean_number_of_lives(
    shop: Shop, bea: User, ben: User
) -> None:
    """By hand: half of what was moulded came from a lot whose two frames may each be from a batch
    of one pass or of three, sold alike: sd 1 each, sqrt(2) / 2 of the lot, so u = sqrt(2) / 4."""
    rows = {"AV-1": [[1, 1_000_000]], "AV-2": [[3, 1_000_000]]}
    for code, heat in rows.items():
        batch = ProductionBatch.objects.create(
            code=code, colourway=shop.avocet_slate, made_on=date(2024, 2, 1), pieces=9, heat=heat
        )
        made.sold(batch, m2026_02=50)
    frames = [made.boxed(shop, batch=None) for _ in range(2)]
    run = made.ground(shop, bea, ben, flake_mg=38_000)
    for frame in frames:
        frame.state, frame.lot = "ground", run.lot
        frame.save()
        frame.heaps.update(lot=run.lot)
    assert run.lot is not None
    made.move(
        "issue",
        [(places.of_lot(run.lot), places.mass(PlaceKind.PRESS), 20_000, None)],
        subject="AV-2601",
    )
    made.issued(shop, "post_consumer_feedstock", 20_000)
    found = indicators(YEAR, Scope(), figures()).mean_lives
    assert found.figure is not None
    assert found.high == pytest.approx(found.figure + 2 * 2**0.5 / 4)
    assert found.low == pytest.approx(found.figure - 2 * 2**0.5 / 4)
