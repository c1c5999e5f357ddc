"""No sequence of acts at loads loses a gram, counts one twice, or leaves a table owing another.

A state machine drives the real rules beside a model of what each load came to. Constructed.
"""

from __future__ import annotations

import pytest
from django.contrib.auth.models import User
from django.db import transaction
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from inventory.errors import BadInput, NotEnough, StaleState
from inventory.goods import queries, rules
from inventory.goods.rules import Goods, Net, Sorted, TakenOut
from inventory.ledger.queries import balances
from inventory.material.rules.material import Weighing
from inventory.models import Colour, Load, PlaceKind, Polymer, Posting, Scale, Stream, Went
from inventory.months.queries import recovered
from tests import makers
from tests.makers import NOON, key

pytestmark = pytest.mark.django_db
GRAMS = st.integers(20, 600)
REFUSED = (BadInput, NotEnough, StaleState)


class Table(RuleBasedStateMachine):
    @initialize()
    def furnish(self) -> None:
        self.frame = transaction.atomic()
        self.frame.__enter__()
        self.by = User.objects.create_user("bea-at-the-table")
        self.scale: Scale = makers.scale(division_mg=1000, verification_mg=1000)
        self.pp = Polymer.objects.create(code="PP", name="Polypropylene")
        self.colours = [Colour.objects.create(code=c, name=c) for c in ("slate", "moss")]
        self.gross: dict[int, int] = {}

    def teardown(self) -> None:
        if hasattr(self, "frame"):
            transaction.set_rollback(True)
            self.frame.__exit__(None, None, None)

    def weighed(self, grams: int) -> Weighing:
        return Weighing(scale=self.scale, mass=f"{grams} g")

    def facts(self, load: Load) -> dict[str, object]:
        return {"key": key(), "load": load, "at": NOON, "by": self.by}

    def pick(self, data: st.DataObject) -> Load:
        return Load.objects.get(pk=data.draw(st.sampled_from(sorted(self.gross))))

    @rule(grams=GRAMS)
    def receive(self, grams: int) -> None:
        goods = Goods(kind="plant-pots", giver_class="household", way="left")
        load = rules.receive(
            key=key(), goods=goods, weighing=self.weighed(grams), at=NOON, by=self.by
        )
        self.gross[load.pk] = grams * 1000

    @precondition(lambda self: self.gross)
    @rule(
        data=st.data(),
        grams=GRAMS,
        stream=st.sampled_from(Stream.values),
        went=st.sampled_from(Went.values),
    )
    def take_out(self, data: st.DataObject, grams: int, stream: str, went: str) -> None:
        out = TakenOut(stream=stream, went=went, note="to Tern")
        try:
            rules.take_out(**self.facts(self.pick(data)), out=out, weighing=self.weighed(grams))
        except REFUSED:
            return

    @precondition(lambda self: self.gross)
    @rule(data=st.data(), grams=st.lists(GRAMS, max_size=2), why=st.sampled_from(["", "wet"]))
    def finish(self, data: st.DataObject, grams: list[int], why: str) -> None:
        nets = [
            Net(polymer=self.pp, colour=colour, mass=f"{mass} g")
            for colour, mass in zip(self.colours, grams, strict=False)
        ]
        out = Sorted(scale=self.scale, nets=nets, explanation=why)
        try:
            rules.finish(**self.facts(self.pick(data)), out=out)
        except REFUSED:
            return

    @precondition(lambda self: self.gross)
    @rule(data=st.data(), grams=GRAMS)
    def pick_out(self, data: st.DataObject, grams: int) -> None:
        load = self.pick(data)
        reached = queries.places_of(queries.standing(load))
        if not reached:
            return
        out = TakenOut(stream="polymer", went="kept", note="PE")
        place = data.draw(st.sampled_from(sorted(reached, key=lambda one: one.pk)))
        try:
            rules.pick_out(**self.facts(load), place=place, out=out, weighing=self.weighed(grams))
        except REFUSED:
            return

    @precondition(lambda self: self.gross)
    @rule(data=st.data(), went=st.sampled_from(["sold", "given", "waste"]))
    def pass_on(self, data: st.DataObject, went: str) -> None:
        load = self.pick(data)
        kept = queries.standing(load).kept
        if kept:
            rules.pass_on(**self.facts(load), entry=kept[0], went=went, note="to Tern")

    @precondition(lambda self: self.gross)
    @rule(data=st.data())
    def undo(self, data: st.DataObject) -> None:
        load = self.pick(data)
        last = queries.standing(load).last_movement
        if last is None:
            return
        try:
            load = rules.undo(**self.facts(load), number=last, reason="Weighed wrongly.")
        except REFUSED:
            return
        if load.state == Load.State.VOID:
            self.gross[load.pk] = 0

    @invariant()
    def each_load_closes_to_the_milligram(self) -> None:
        if not hasattr(self, "gross"):
            return
        for one in queries.listed(Load.objects.all()):
            assert one.gross_mg == self.gross[one.load.pk]
            here = balances.held_mg(subject=one.load.code, kind=PlaceKind.SORTING)
            assert one.left_mg == here >= 0
            assert here == 0 or one.load.state == Load.State.SORTING
            kept = balances.held_mg(subject=one.load.code, kind=PlaceKind.KEPT)
            assert kept == sum(entry.posting.quantity for entry in one.kept) >= 0

    # Not after every step: a report reads the whole month.
    @precondition(lambda self: self.gross)
    @rule()
    def the_report_tells_every_gram_once(self) -> None:
        report = recovered.of_month("2026-10")
        assert report.gaps == ()
        cells = [
            (row.section, column, cell.quantity)
            for row in report.beyond
            for column, cell in row.flows.cells.items()
        ]
        whole = dict.fromkeys(("goods_in", "boxed", "taken_out", "washed_off"), 0)
        for section, column, quantity in cells:
            if section == "goods" and column in whole:
                whole[column] += quantity
        assert whole["goods_in"] == sum(self.gross.values())
        on_table = sum(one.left_mg for one in queries.listed(Load.objects.all()))
        assert whole["goods_in"] - sum(whole.values()) + whole["goods_in"] == on_table
        out = sum(q for section, _c, q in cells if section == "outgoing")
        picked = sum(q for section, c, q in cells if section == "goods" and c == "picked_out")
        assert out == whole["taken_out"] + picked
        assert report.total.cell("goods").quantity == whole["boxed"]
        assert not Posting.objects.filter(quantity__lt=1).exists()


def test_no_sequence_of_acts_loses_a_gram_of_goods_or_counts_one_twice() -> None:
    run_state_machine_as_test(
        Table,
        settings=settings(
            max_examples=8,
            stateful_step_count=14,
            deadline=None,
            suppress_health_check=list(HealthCheck),
        ),
    )
