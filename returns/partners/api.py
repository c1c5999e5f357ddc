"""Drop-off partners: entered, given slips, their boxes booked."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from inventory.furniture.api.shapes import Body, Code, Moment, Scanned, found
from inventory.furniture.api.views import ActionView, Detail, Listing
from returns.arriving.api import ParcelAnswer
from returns.models import Parcel, Partner, PartnerSlip
from returns.partners import queries, rules


class PartnerRow(serializers.Serializer[Partner]):
    number = serializers.IntegerField(source="pk")
    name = serializers.CharField()
    town = serializers.CharField()
    added_at = Moment()
    closed_at = Moment(allow_null=True)


class PartnerAnswer(PartnerRow):
    link = serializers.SerializerMethodField(
        help_text="The private address of the partner's page; empty while it is revoked."
    )

    def get_link(self, partner: Partner) -> str:
        return rules.page_link(partner)


class PartnerBody(Body):
    name = serializers.CharField(max_length=rules.NAME_LENGTH_MAX)
    town = serializers.CharField(max_length=rules.TOWN_LENGTH_MAX, allow_blank=True, default="")


class Partners(ActionView, Listing):
    """GET lists the shops that take frames in; POST enters one, and its private link is made.

    The partner's page behind that link, and the page on which a wearer files with a slip, are for a
    person's screen: the slip's own link proves that it is in the wearer's hand. Answers `bad-input`
    for a name that is empty or there already.
    """

    serializer_class = PartnerRow
    queryset = Partner.objects.order_by("name", "pk")
    body_class = PartnerBody
    made_class = PartnerRow

    def perform(self, data: dict[str, Any]) -> Partner:
        return rules.add(key=self.action_key, at=self.at, by=self.by, **data)


def partner_at(number: int) -> Partner:
    """Return the partner under a number. NotFound otherwise."""
    partner: Partner = found(Partner.objects.all(), pk=str(number))
    return partner


class OnePartner(Detail):
    """Show one partner with the private link of its page. Answers `not-found` for another number.

    The link is told here alone, never in an answer that is kept for a repeat.
    """

    answer_class = PartnerAnswer

    def instance(self) -> Partner:
        return partner_at(self.kwargs["number"])


class SlipAnswer(serializers.Serializer[PartnerSlip]):
    """How a slip stands, as its partner sees it: no word about whose it is."""

    code = serializers.CharField()
    sheet = serializers.IntegerField()
    state = serializers.SerializerMethodField()
    since = serializers.SerializerMethodField()
    parcel = Code(allow_null=True, help_text="The box that it came in.")

    @extend_schema_field(serializers.ChoiceField(choices=sorted(queries.STATES)))
    def get_state(self, slip: PartnerSlip) -> str:
        return queries.line(slip).state

    @extend_schema_field(serializers.DateField())
    def get_since(self, slip: PartnerSlip) -> str:
        return queries.line(slip).since.isoformat()


class PartnerSlips(Listing):
    """List a partner's slips, the newest sheet first. Answers `not-found` for another number."""

    serializer_class = SlipAnswer

    def get_queryset(self) -> Any:
        # The description of the API asks without a number.
        if "number" not in self.kwargs:
            return PartnerSlip.objects.none()
        return queries.slips(partner_at(self.kwargs["number"])).select_related("request", "parcel")


class SheetBody(Body):
    count = serializers.IntegerField(
        min_value=rules.SHEET_SLIPS[0], max_value=rules.SHEET_SLIPS[-1], help_text="Slips on it."
    )


class SheetAnswer(serializers.Serializer[Any]):
    sheet = serializers.IntegerField()
    codes = serializers.ListField(child=serializers.CharField())


class Sheets(ActionView):
    """Make the slips of one more sheet. The paper is printed from the partner's page.

    Answers `stale-state` when the partner's link is revoked.
    """

    body_class = SheetBody
    made_class = SheetAnswer

    def perform(self, data: dict[str, Any]) -> dict[str, Any]:
        partner = partner_at(self.kwargs["number"])
        sheet = rules.print_sheet(
            key=self.action_key, partner=partner, at=self.at, by=self.by, **data
        )
        codes = partner.slips.filter(sheet=sheet).order_by("pk").values_list("code", flat=True)
        return {"sheet": sheet, "codes": list(codes)}


class PartnerAction(ActionView):
    made_class = PartnerRow
    made_status = 200


class LinkRenewals(PartnerAction):
    """Give a partner another link; the one before opens nothing. A revoked one is opened again.

    Answers `not-found` for another number.
    """

    def perform(self, _data: dict[str, Any]) -> Partner:
        partner = partner_at(self.kwargs["number"])
        return rules.renew_link(key=self.action_key, partner=partner, at=self.at, by=self.by)


class PartnerClosings(PartnerAction):
    """Revoke a partner's link; slips that wearers hold stay good.

    Answers `stale-state` when it is revoked already.
    """

    def perform(self, _data: dict[str, Any]) -> Partner:
        partner = partner_at(self.kwargs["number"])
        return rules.close(key=self.action_key, partner=partner, at=self.at, by=self.by)


class BoxBody(Body):
    scans = serializers.ListField(
        child=Scanned(),
        min_length=1,
        max_length=rules.BOX_SLIPS_MAX,
        help_text="The slips that lie in the box, as scanned or typed, filed or not.",
    )


class PartnerBoxes(ActionView):
    """Book one box with the slips of many owners in it, all of one partner.

    Its frames are then weighed in as those of any parcel, each with its `slip`. Answers `bad-input`
    naming the code that is no slip, is another partner's, or came in an earlier box.
    """

    scope = "bench"
    body_class = BoxBody
    made_class = ParcelAnswer

    def perform(self, data: dict[str, Any]) -> Parcel:
        return rules.book_box(key=self.action_key, at=self.at, by=self.by, **data)
