"""The ledger's movements: listed, shown, reversed."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.db.models import Q, QuerySet
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from inventory.errors import NotFound
from inventory.furniture.api import filters
from inventory.furniture.api.shapes import Body, Code, KnownMass, Moment, known_mass
from inventory.furniture.api.views import ActionView, Detail, Listing
from inventory.ledger.rules import reversing
from inventory.ledger.sums.recipes import KINDS
from inventory.models import Movement, Posting, Unit, Workshop
from inventory.months.queries import replays
from inventory.weighing.sums.traced import MassWithReadings

ROWS = Movement.objects.select_related("actor", "reverses", "reversed_by").prefetch_related(
    "postings__source", "postings__target"
)
# Within the 64 bits of the column: for a number beyond them the database raises an error, where
# "not found" is the answer.
NUMBER_MAX = 2**62


class MovementFilter(filters.FilterSet):
    month = filters.MonthLabel()
    kind = filters.ChoiceFilter(choices=[(kind, kind) for kind in KINDS])
    subject = filters.CharFilter(max_length=40)
    place = filters.CharFilter(method="at_place", max_length=60)

    def at_place(self, rows: QuerySet[Movement], _name: str, code: str) -> QuerySet[Movement]:
        # A subquery, because a join would list a movement once for each of its postings.
        touches = Posting.objects.filter(Q(source__code=code) | Q(target__code=code))
        return rows.filter(pk__in=touches.values("movement"))


class PostingAnswer(serializers.Serializer[Posting]):
    """Exactly one of `mass_mg` and `pieces` is a number.

    `known` is null where pieces are counted, and in a month that was closed before every mass had
    its uncertainty.
    """

    line = serializers.IntegerField()
    source = Code()  # type: ignore[assignment]
    target = Code()
    mass_mg = serializers.SerializerMethodField()
    known = serializers.SerializerMethodField()
    pieces = serializers.SerializerMethodField()

    def get_mass_mg(self, posting: Posting) -> int | None:
        return posting.quantity if posting.source.unit == Unit.MILLIGRAM else None

    @extend_schema_field(KnownMass(allow_null=True))
    def get_known(self, posting: Posting) -> dict[str, Any] | None:
        found = self._moved(posting.movement).get((posting.movement.number, posting.line))
        return None if found is None else known_mass(found.known())

    def _moved(self, movement: Movement) -> Mapping[tuple[int, int], MassWithReadings]:
        """Return what the answer's months moved; each month is replayed once."""
        request = self.context["request"]
        if not hasattr(request, "moved_masses"):
            is_list = isinstance(self.root, serializers.ListSerializer)
            rows = (self.root.instance if is_list else None) or [movement]
            # Kept on the request: each posting of a page asks, and a month's replay costs the same
            # for one posting as for all.
            request.moved_masses = replays.moved(row.month for row in rows)
        masses: Mapping[tuple[int, int], MassWithReadings] = request.moved_masses
        return masses

    def get_pieces(self, posting: Posting) -> int | None:
        return posting.quantity if posting.source.unit == Unit.PIECE else None


class MovementAnswer(serializers.Serializer[Movement]):
    """`belongs_to` names the closed month that a late movement is about, else it is empty."""

    number = serializers.IntegerField()
    kind = serializers.CharField()
    subject = serializers.CharField()
    actor = Code(by="username", allow_null=True)
    happened_at = Moment()
    recorded_at = Moment()
    month = serializers.CharField()
    belongs_to = serializers.CharField()
    reverses = serializers.SerializerMethodField()
    reversed_by = serializers.SerializerMethodField()
    reason = serializers.CharField()
    cost_minor = serializers.IntegerField()
    currency = serializers.SerializerMethodField()
    postings = PostingAnswer(many=True)

    def get_reverses(self, movement: Movement) -> int | None:
        return movement.reverses.number if movement.reverses else None

    def get_reversed_by(self, movement: Movement) -> int | None:
        back: Movement | None = getattr(movement, "reversed_by", None)
        return back.number if back else None

    def get_currency(self, _movement: Movement) -> str:
        return currency(self.context)


def currency(context: Mapping[str, Any]) -> str:
    """Return the workshop's currency, which one answer reads only once."""
    request = context["request"]
    if not hasattr(request, "workshop_currency"):
        request.workshop_currency = Workshop.the().currency
    return str(request.workshop_currency)


class Movements(Listing):
    """List the movements of the ledger, newest first, each with its postings in mg or pieces."""

    scope = "read"
    serializer_class = MovementAnswer
    filterset_class = MovementFilter
    queryset = ROWS


def movement_at(number: int) -> Movement:
    movement = ROWS.filter(number=number).first() if number <= NUMBER_MAX else None
    if movement is None:
        raise NotFound()
    return movement


class OneMovement(Detail):
    """Show one movement with its postings, in mg or pieces.

    Answers `not-found` for another number.
    """

    scope = "read"
    answer_class = MovementAnswer

    def instance(self) -> Movement:
        return movement_at(self.kwargs["number"])


class ReversalBody(Body):
    reason = serializers.CharField(max_length=200)


class Reversals(ActionView):
    """Reverse a movement of material, parts or a count: its mirror image is posted with a reason.

    Answers `bad-input` without a reason, `conflict` for a movement that is part of a frame's or
    kit's story, `already-reversed`, and `not-enough` when a place no longer holds what would go
    back.
    """

    scope = "accounts"
    body_class = ReversalBody
    made_class = MovementAnswer

    def perform(self, data: dict[str, Any]) -> Movement:
        return reversing.reverse(
            key=self.action_key,
            movement=movement_at(self.kwargs["number"]),
            reason=data["reason"],
            at=self.at,
            by=self.by,
        )
