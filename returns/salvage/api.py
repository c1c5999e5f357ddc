"""Salvage: which donor's part would help which frame, and the promises made of it."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from inventory.furniture.api.shapes import Body, Code, Moment
from inventory.furniture.api.views import ActionView, Detail
from inventory.ledger.api import currency
from returns.furniture.api.lookups import Spoken, colourway_code
from returns.models import PartPromise, ReturnedFrame
from returns.models.catalogue import ComponentKey
from returns.salvage import rules as salvaging
from returns.salvage.queries import donors as salvage
from returns.salvage.queries.donors import Board, Pair
from returns.salvage.rules import Match


class PairAnswer(serializers.Serializer[Pair]):
    """`donor` is null where `reason` is not "matched"."""

    frame = Code(source="lack.frame", by="tag")
    colourway = serializers.SerializerMethodField()
    component = serializers.CharField(source="lack.component")
    part = serializers.CharField(source="lack.part")
    donor = serializers.SerializerMethodField()
    reason = serializers.CharField()

    def get_colourway(self, pair: Pair) -> str | None:
        way = pair.lack.frame.colourway
        return colourway_code(way) if way else None

    def get_donor(self, pair: Pair) -> str | None:
        return pair.gift.donor.tag if pair.gift else None


class PromiseAnswer(serializers.Serializer[PartPromise]):
    donor = Code(by="tag")
    component = serializers.CharField()
    frame = Code(by="tag")
    part = Code()
    state = serializers.CharField()
    made_at = Moment()
    ended_at = Moment(allow_null=True)


class BoardAnswer(serializers.Serializer[Board]):
    """`in_order` is how many frames first come, first served would help."""

    matches = PairAnswer(many=True, source="pairs")
    frames_helped = serializers.IntegerField(source="saved")
    in_order = serializers.IntegerField()
    promises = PromiseAnswer(many=True)
    ready = serializers.SerializerMethodField(help_text="Held frames whose parts have come.")
    take_off_cost_minor = serializers.IntegerField(source="take_off_minor")
    currency = serializers.SerializerMethodField()

    def get_ready(self, board: Board) -> list[str]:
        return [frame.tag for frame in board.ready]

    def get_currency(self, _board: Board) -> str:
        return currency(self.context)


class Salvage(Detail):
    """Show which part of a waiting donor would best help which frame, and what is promised already.

    The cost of taking parts off is in minor units of the workshop's currency.
    """

    scope = "read"
    answer_class = BoardAnswer

    def instance(self) -> Board:
        return salvage.board()


class FrameTag(Spoken):
    def __init__(self, **options: Any) -> None:
        super().__init__(ReturnedFrame.objects.all, prefix="F", by="tag", **options)


class GiftBody(Body):
    donor = FrameTag()
    component = serializers.ChoiceField(choices=ComponentKey.values)


class MatchBody(GiftBody):
    frame = FrameTag()


class Promises(ActionView):
    """Approve a match: when the donor is stripped, its part is kept for the frame.

    Answers `bad-input` when the part does not fit or the frame does not lack it, `conflict` when
    either is promised already, and `stale-state` when one of the two no longer waits.
    """

    scope = "bench"
    body_class = MatchBody
    made_class = PromiseAnswer

    def perform(self, data: dict[str, Any]) -> PartPromise:
        match = Match(**data)
        return salvaging.approve(key=self.action_key, match=match, at=self.at, by=self.by)


class Withdrawals(ActionView):
    """Take a promise back before the donor is stripped; both frames are free again.

    Answers `stale-state` when there is no open promise of that part.
    """

    scope = "bench"
    body_class = GiftBody
    made_class = PromiseAnswer
    made_status = 200

    def perform(self, data: dict[str, Any]) -> PartPromise:
        return salvaging.withdraw(key=self.action_key, at=self.at, by=self.by, **data)
