"""Whatever the order of posting, reversing and closing, the ledger's promises hold.

A state machine drives the real rules beside a small model in memory: a list of postings. After
every step balances equal the model's sums, nothing but the boundary is below zero, closed months
stay as they were, and what is refused leaves no trace. Constructed; no published source.
"""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import pytest
from django.db import IntegrityError, connection, transaction
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    Bundle,
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from inventory.errors import (
    AlreadyReversed,
    KeyReused,
    MonthClosed,
    MonthNotReady,
    NotEnough,
    WrongRecipe,
)
from inventory.ledger.queries import balances
from inventory.ledger.rules import ledger, places
from inventory.ledger.sums.recipes import KINDS, allows
from inventory.models import (
    Balance,
    Colour,
    Lot,
    Month,
    Movement,
    Part,
    Place,
    PlaceKind,
    Polymer,
    Posting,
)
from inventory.months import rules as months
from inventory.months.queries import audit, recovered

pytestmark = pytest.mark.django_db
START = datetime(2026, 1, 15, 12, 0, tzinfo=UTC)
QUANTITIES = st.integers(1, 400)
DAYS = st.integers(0, 100)


@dataclass
class Booked:
    """One movement as the model remembers it: (source, target, quantity) and its month."""

    movement: Movement
    legs: list[tuple[int, int, int]]
    month: str
    undone: bool = False


class Books(RuleBasedStateMachine):
    keys: Bundle[uuid.UUID] = Bundle("keys")

    @initialize()
    def furnish(self) -> None:
        self.frame = transaction.atomic()
        self.frame.__enter__()
        polymer = Polymer.objects.create(code="PP", name="Polypropylene")
        colour = Colour.objects.create(code="slate", name="Slate")
        part = Part.objects.create(code="screw", name="Screw")
        origin = "post_consumer_return"
        lot = Lot.objects.create(
            code="L-1",
            polymer=polymer,
            colour=colour,
            origin=origin,
            heat=[[1, 1_000_000]],
            made_at=START,
        )
        masses = [places.mass(kind) for kind in PlaceKind if kind not in ("box", "lot", "bin")]
        pieces = [
            places.pieces(kind)
            for kind in (PlaceKind.WEARERS, PlaceKind.SELLERS, PlaceKind.UNEXPLAINED)
        ]
        made = [
            places.box(polymer=polymer, colour=colour, origin=origin),
            places.of_lot(lot),
            places.bin_of(part),
        ]
        self.places: list[Place] = [*masses, *pieces, *made]
        self.booked: list[Booked] = []
        self.sealed: dict[str, tuple[str, dict[int, int]]] = {}
        self.said: dict[uuid.UUID, tuple[str, int, int, int, int]] = {}
        # Something to close: the first month begins with the first movement.
        self.put(uuid.uuid4(), "opening", places.mass(PlaceKind.UNEXPLAINED), made[0], 300, 0)

    def teardown(self) -> None:
        if hasattr(self, "frame"):
            transaction.set_rollback(True)
            self.frame.__exit__(None, None, None)

    def held(self) -> dict[int, int]:
        sums: dict[int, int] = {}
        for booked in self.booked:
            for source, target, quantity in booked.legs:
                sums[source] = sums.get(source, 0) - quantity
                sums[target] = sums.get(target, 0) + quantity
        return sums

    def open_month(self, happened: datetime) -> str:
        own = f"{happened:%Y-%m}"
        last = max(self.sealed, default="")
        if own > last:
            return own
        year, number = int(last[:4]), int(last[5:])
        return f"{year + number // 12:04d}-{number % 12 + 1:02d}"

    def put(
        self, key: uuid.UUID, kind: str, source: Place, target: Place, quantity: int, day: int
    ) -> Movement:
        happened = START + timedelta(days=day)
        movement = ledger.post(
            key=key,
            kind=kind,
            lines=[ledger.Line(source, target, quantity)],
            happened_at=happened,
        )
        self.said[key] = (kind, source.pk, target.pk, quantity, day)
        leg = (source.pk, target.pk, quantity)
        self.booked.append(Booked(movement, [leg], self.open_month(happened)))
        return movement

    @rule(target=keys, data=st.data(), quantity=QUANTITIES, day=DAYS)
    def post(self, data: st.DataObject, quantity: int, day: int) -> uuid.UUID:
        """A leg that its recipe allows: it goes through unless its source holds too little."""
        choices = [
            (kind, source, target)
            for kind in KINDS
            for source in self.places
            for target in self.places
            if source.unit == target.unit and allows(kind, source.kind, target.kind, source.unit)
        ]
        kind, source, target = data.draw(st.sampled_from(choices))
        key = uuid.uuid4()
        enough = source.is_boundary or self.held().get(source.pk, 0) >= quantity
        if enough:
            self.put(key, kind, source, target, quantity, day)
        else:
            with pytest.raises(NotEnough):
                self.put(key, kind, source, target, quantity, day)
        return key

    @rule(data=st.data(), kind=st.sampled_from(sorted(KINDS)), quantity=QUANTITIES)
    def post_outside_the_recipe(self, data: st.DataObject, kind: str, quantity: int) -> None:
        source, target = data.draw(
            st.tuples(st.sampled_from(self.places), st.sampled_from(self.places)).filter(
                lambda pair: (
                    not (
                        pair[0].unit == pair[1].unit
                        and allows(kind, pair[0].kind, pair[1].kind, pair[0].unit)
                    )
                )
            )
        )
        with pytest.raises(WrongRecipe):
            self.put(uuid.uuid4(), kind, source, target, quantity, 0)

    @rule(key=keys, more=st.integers(0, 1))
    def repeat(self, key: uuid.UUID, more: int) -> None:
        """The same again returns what is there; the same id with another content is refused."""
        if key not in self.said:
            return
        kind, source, target, quantity, day = self.said[key]
        by_id = {place.pk: place for place in self.places}
        lines = [ledger.Line(by_id[source], by_id[target], quantity + more)]
        facts = {"key": key, "kind": kind, "lines": lines}
        happened = START + timedelta(days=day)
        if more:
            with pytest.raises(KeyReused):
                ledger.post(happened_at=happened, **facts)
        else:
            assert ledger.post(happened_at=happened, **facts).key == key

    @precondition(lambda self: self.booked)
    @rule(data=st.data(), day=DAYS)
    def reverse(self, data: st.DataObject, day: int) -> None:
        booked = data.draw(st.sampled_from(self.booked))
        happened = START + timedelta(days=day)
        legs = [(target, source, quantity) for source, target, quantity in booked.legs]
        facts = {"key": uuid.uuid4(), "reason": "wrong", "at": happened}
        held = self.held()
        source = next(place for place in self.places if place.pk == legs[0][0])
        if booked.undone:
            with pytest.raises(AlreadyReversed):
                ledger.reverse(movement=booked.movement, **facts)
        elif not source.is_boundary and held.get(source.pk, 0) < legs[0][2]:
            with pytest.raises(NotEnough):
                ledger.reverse(movement=booked.movement, **facts)
        else:
            undoing = ledger.reverse(movement=booked.movement, **facts)
            booked.undone = True
            self.booked.append(Booked(undoing, legs, self.open_month(happened), undone=True))

    @rule(ahead=st.integers(-1, 1), late=st.booleans())
    def close(self, ahead: int, late: bool) -> None:
        """Only the next month in order closes, only after its end, only if no place is short."""
        due = max(self.sealed, default="")
        due = self.after(due) if due else min(booked.month for booked in self.booked)
        label = due if ahead == 0 else (self.after(due) if ahead > 0 else self.before(due))
        at = datetime(2027, 6, 1, tzinfo=UTC) if late else datetime(2020, 1, 1, tzinfo=UTC)
        facts = {"key": uuid.uuid4(), "label": label, "at": at, "by": None}
        if label in self.sealed:
            with pytest.raises(MonthClosed):
                months.close(**facts)
        elif label != due or not late or self.short_at_end_of(label):
            with pytest.raises(MonthNotReady):
                months.close(**facts)
        else:
            month = months.close(**facts)
            self.sealed[label] = (month.digest, self.held_at(label))

    @staticmethod
    def after(label: str) -> str:
        year, number = int(label[:4]), int(label[5:])
        return f"{year + number // 12:04d}-{number % 12 + 1:02d}"

    @staticmethod
    def before(label: str) -> str:
        year, number = int(label[:4]), int(label[5:])
        return f"{year - (number == 1):04d}-{(number - 2) % 12 + 1:02d}"

    def held_at(self, label: str) -> dict[int, int]:
        sums: dict[int, int] = {}
        for booked in self.booked:
            if booked.month <= label:
                for source, target, quantity in booked.legs:
                    sums[source] = sums.get(source, 0) - quantity
                    sums[target] = sums.get(target, 0) + quantity
        return {place: quantity for place, quantity in sums.items() if quantity}

    def short_at_end_of(self, label: str) -> bool:
        """A place, or what a whole class was valued at, would be below zero at the month's end."""
        held = self.held_at(label)
        inside = [place.pk for place in self.places if not place.is_boundary]
        return any(held.get(place, 0) < 0 for place in inside) or bool(
            recovered.of_month(label).unvalued
        )

    @precondition(lambda self: self.booked)
    @rule(statement=st.sampled_from(["UPDATE {} SET id = id", "DELETE FROM {}"]))
    def tamper(self, statement: str) -> None:
        for model in (Movement, Posting):
            sql = statement.format(model._meta.db_table)
            with pytest.raises(IntegrityError), transaction.atomic():
                connection.cursor().execute(sql)

    @invariant()
    def balances_are_the_sums_of_the_postings(self) -> None:
        if not hasattr(self, "booked"):
            return
        cached = {pk: q for pk, q in Balance.objects.values_list("pk", "quantity") if q}
        expected = {place: quantity for place, quantity in self.held().items() if quantity}
        assert cached == expected

    @invariant()
    def what_leaves_one_place_is_in_another(self) -> None:
        if not hasattr(self, "booked"):
            return
        held = dict(Balance.objects.values_list("pk", "quantity"))
        for unit in ("mg", "pc"):
            ours = [place for place in self.places if place.unit == unit]
            assert sum(held.get(place.pk, 0) for place in ours) == 0
            assert all(held.get(place.pk, 0) >= 0 for place in ours if not place.is_boundary)

    @invariant()
    def every_movement_is_in_the_month_the_model_says(self) -> None:
        if not hasattr(self, "booked"):
            return
        labels = dict(Movement.objects.values_list("number", "month"))
        assert labels == {b.movement.number: b.month for b in self.booked}
        assert sorted(labels) == list(range(1, len(labels) + 1))

    @invariant()
    def closed_months_stay_as_they_were(self) -> None:
        if not hasattr(self, "booked"):
            return
        assert dict(Month.objects.values_list("label", "digest")) == {
            label: digest for label, (digest, _held) in self.sealed.items()
        }
        for label, (_digest, held) in self.sealed.items():
            assert balances.at_close(label) == held


class CheckedBooks(Books):
    """The same, and at the end the ledger's own check and the closed reports agree."""

    def teardown(self) -> None:
        try:
            if hasattr(self, "booked"):
                found = [str(outcome) for outcome in audit.check() if not outcome.ok]
                assert found == []
                for label in self.sealed:
                    assert recovered.of_month(label).gaps == ()
        finally:
            super().teardown()


def test_no_sequence_of_rules_breaks_the_ledger(db: None) -> None:
    run_state_machine_as_test(
        CheckedBooks,
        settings=settings(
            max_examples=15,
            stateful_step_count=25,
            suppress_health_check=list(HealthCheck),
        ),
    )
