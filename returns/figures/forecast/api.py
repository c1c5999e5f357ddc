"""Lifetimes, forecast, claims and emissions: the owner's figures, as the pages have them."""

from __future__ import annotations

import dataclasses
from typing import Any

from django.utils import timezone
from django.utils.translation import gettext as _
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter
from rest_framework import serializers

from inventory.errors import BadInput
from inventory.furniture.api.views import Detail
from inventory.material.sums.heat import WHOLE_PPM
from inventory.months.sums.calendar_month import month_of
from returns.figures.circularity.api import Whole
from returns.figures.circularity.queries.circularity import circularity
from returns.figures.claims.queries import claims_sheet
from returns.figures.emissions import queries as emissions
from returns.figures.forecast.queries import forecast, part_months, run_off
from returns.figures.forecast.sums.forecasts import BackTest
from returns.figures.lifetimes.queries import cause_fits, lifetimes
from returns.figures.span.queries import Scope, by_index, zone

CODE_TEXT_MAX = 30
SERVICE_PPM = (500_000, 999_900)


class LifetimesAnswer(serializers.Serializer[Any]):
    """Curve, fit and causes up to the last complete month. What is too thin is in `missing`."""

    as_of = serializers.CharField()
    scope = serializers.CharField()
    curve = serializers.JSONField()
    median_months = serializers.FloatField(allow_null=True)
    median_limits = serializers.ListField(child=serializers.FloatField(allow_null=True))
    fit = serializers.JSONField(allow_null=True)
    fit_outside = serializers.ListField(
        child=serializers.FloatField(),
        help_text="Ages in months at which the fit lies outside the limits of the curve.",
    )
    causes = serializers.JSONField()
    cause_fits = serializers.JSONField()
    missing = serializers.JSONField(allow_null=True)


class ForecastAnswer(serializers.Serializer[Any]):
    """The next twelve months, with 50 and 90 % limits, and how such forecasts did on the past."""

    as_of = serializers.CharField()
    scope = serializers.CharField()
    months = serializers.JSONField()
    past = serializers.JSONField()
    back_tests = serializers.JSONField()
    mass_by_colour = serializers.JSONField()
    kit_requests = serializers.JSONField()
    parts_by_month = serializers.JSONField()
    missing = serializers.JSONField(allow_null=True)


class OutstandingAnswer(serializers.Serializer[Any]):
    """Each month of sale with what came and what is still expected, and Mack's standard errors."""

    as_of = serializers.CharField()
    scope = serializers.CharField()
    months = serializers.JSONField()
    first_age = serializers.IntegerField()
    last_age = serializers.IntegerField()
    factors = serializers.JSONField()
    total = serializers.FloatField()
    total_standard_error = serializers.FloatField()
    left_out = serializers.JSONField()
    missing = serializers.JSONField(allow_null=True)


class SubjectAnswer(serializers.Serializer[Any]):
    """What a claim is about, and what it leaves out."""

    scope = serializers.CharField()
    basis = serializers.CharField()
    period = serializers.CharField()
    method = serializers.CharField()
    excludes = serializers.ListField(child=serializers.CharField())


class ClaimAnswer(serializers.Serializer[Any]):
    """A judged claim: its figure and interval are null unless it may be published."""

    key = serializers.CharField()
    verdict = serializers.CharField()
    subject = SubjectAnswer()
    figure_percent = serializers.FloatField(allow_null=True)
    interval_percent = serializers.ListField(child=serializers.FloatField(), allow_null=True)
    evidence = serializers.IntegerField()
    needed = serializers.IntegerField()


class LineAnswer(serializers.Serializer[Any]):
    """A sentence with its claim, or why its wording is refused. `spread` is its range in words."""

    key = serializers.CharField()
    claim = ClaimAnswer(allow_null=True)
    evidence_of = serializers.CharField()
    sentence = serializers.CharField(allow_blank=True)
    refused = serializers.CharField(allow_blank=True)
    spread = serializers.CharField(allow_blank=True)


class ClaimsAnswer(serializers.Serializer[Any]):
    """Each sentence that may be published, or that there is not enough evidence for it."""

    lines = LineAnswer(many=True)


class EmissionsAnswer(serializers.Serializer[Any]):
    """Year by year; two lines that are never netted, or why there is no number."""

    years = serializers.JSONField()


class _Scoped(Detail):
    scope = "read"
    header_parameters = [
        OpenApiParameter("model", OpenApiTypes.STR, description="Code of a model."),
        OpenApiParameter("batch", OpenApiTypes.STR, description="Code of a production batch."),
    ]

    def within(self) -> Scope:
        asked = {name: self.request.GET.get(name, "") for name in ("model", "batch")}
        return Scope.of_codes(**{name: text[:CODE_TEXT_MAX] for name, text in asked.items()})


class Lifetimes(_Scoped):
    """Show how long frames stay out before they first come back, in months.

    `curve` is the share still out with its limits; `fit` is a Weibull curve where one can be
    fitted; `causes` tell apart what made them come back. Too few returns give no figure, and
    `missing` says how many it takes. Answers `not-found` for a model or batch that is not there.
    """

    answer_class = LifetimesAnswer

    def instance(self) -> dict[str, Any]:
        scope, as_of = self.within(), month_of(timezone.now(), zone()).previous()
        lived = lifetimes.lifetimes(lifetimes.cohorts(scope, as_of=as_of))
        causes = lifetimes.causes(scope, as_of=as_of)
        return {
            **dataclasses.asdict(lived),
            "as_of": str(as_of),
            "scope": scope.name,
            "causes": [dataclasses.asdict(cause) for cause in causes],
            "cause_fits": [
                dataclasses.asdict(fit) for fit in cause_fits.cause_fits(scope, as_of=as_of)
            ],
        }


class Forecast(_Scoped):
    """Show what will come back in each of the next twelve months: frames, mass, kits, parts.

    Each month has an expected count with inner and outer limits; mass is in mg by colour.
    `back_tests` hold earlier forecasts against what came. Too few returns give no figure, and
    `missing` says how many it takes. Answers `not-found` for a model or batch that is not there.
    """

    answer_class = ForecastAnswer

    def instance(self) -> dict[str, Any]:
        scope, as_of = self.within(), month_of(timezone.now(), zone()).previous()
        ahead = forecast.forecast(lifetimes.cohorts(scope, as_of=as_of))
        return {
            "as_of": str(as_of),
            "scope": scope.name,
            "months": _months(ahead),
            "past": [{"month": str(by_index(m)), "returns": count} for m, count in ahead.past],
            "back_tests": [_back_test(test) for test in ahead.back_tests],
            "mass_by_colour": [
                {"colour": one.name, "months": [_dated(month) for month in one.months]}
                for one in forecast.mass_by_colour(scope, as_of=as_of)
            ],
            "kit_requests": [_dated(one) for one in forecast.screws_by_month(scope, as_of=as_of)],
            "parts_by_month": [
                {**dataclasses.asdict(one), "months": [_dated(month) for month in one.months]}
                for one in part_months.parts_by_month(scope, as_of=as_of)
            ],
            "missing": dataclasses.asdict(ahead.missing) if ahead.missing else None,
        }


class ProposalAnswer(serializers.Serializer[Any]):
    """`target` is the base stock, or the part's own reorder level where that is more."""

    part = serializers.CharField(source="code")
    name = serializers.CharField()
    used_by_month = serializers.ListField(
        child=serializers.IntegerField(), source="used_months", help_text="Oldest month first."
    )
    lead_time_days = serializers.IntegerField()
    on_hand = serializers.IntegerField()
    reserved = serializers.IntegerField()
    base_stock = serializers.IntegerField(allow_null=True)
    target = serializers.IntegerField(source="order.target")
    position = serializers.IntegerField(source="order.position")
    packs = serializers.IntegerField(source="order.packs")
    pieces = serializers.IntegerField(source="order.pieces")
    missing = serializers.SerializerMethodField()

    def get_missing(self, one: forecast.PartProposal) -> dict[str, Any] | None:
        return dataclasses.asdict(one.missing) if one.missing else None


class ProposalsAnswer(serializers.Serializer[Any]):
    """What to order today so that so large a share of requests is met from the shelf."""

    as_of = serializers.CharField()
    service_ppm = serializers.IntegerField()
    parts = ProposalAnswer(many=True)


class PartOrders(Detail):
    """Show which spare parts to order, in pieces and whole packs. Asking orders nothing.

    `base_stock` is what the shelf should hold over the lead time, from what left the bins in past
    months. Answers `bad-input` for a service share that is out of its bounds.
    """

    scope = "read"
    answer_class = ProposalsAnswer
    header_parameters = [
        OpenApiParameter(
            "service_ppm",
            OpenApiTypes.INT,
            description="Share of requests to meet from the shelf, 500000 to 999900; 950000.",
        )
    ]

    def instance(self) -> dict[str, Any]:
        as_of = month_of(timezone.now(), zone()).previous()
        level = self._level()
        return {
            "as_of": str(as_of),
            "service_ppm": round(level * WHOLE_PPM),
            "parts": forecast.part_proposals(as_of=as_of, level=level),
        }

    def _level(self) -> float:
        text = self.request.GET.get("service_ppm", "")
        if not text:
            return forecast.SERVICE_LEVEL
        # `isdigit` is true of "²" as well, which `int` refuses; the length is bounded before it is
        # parsed.
        usable = text.isascii() and text.isdigit() and len(text) <= len(str(WHOLE_PPM))
        if not usable or not SERVICE_PPM[0] <= int(text) <= SERVICE_PPM[1]:
            data = _("Give a share from %(low)s to %(high)s parts per million.")
            span = {"low": SERVICE_PPM[0], "high": SERVICE_PPM[1]}
            raise BadInput(data % span, field="service_ppm")
        return int(text) / WHOLE_PPM


class Outstanding(_Scoped):
    """Show how many returns are still to come of what was sold, by month of sale.

    The chain ladder carries each month of sale on, with a standard error in frames. Too few months
    give no figure, and `missing` says how many it takes. Answers `not-found` for a model or batch
    that is not there.
    """

    answer_class = OutstandingAnswer

    def instance(self) -> dict[str, Any]:
        scope, as_of = self.within(), month_of(timezone.now(), zone()).previous()
        found = run_off.outstanding(lifetimes.cohorts(scope, as_of=as_of))
        return {**dataclasses.asdict(found), "as_of": str(as_of), "scope": scope.name}


class Claims(Whole):
    """Show what may be said in public about a span of months, with its evidence.

    Figures are in percent. A sentence without enough evidence comes without its figure. Answers
    `bad-input` for months that will not do.
    """

    answer_class = ClaimsAnswer  # type: ignore[assignment]

    def instance(self) -> dict[str, Any]:
        lines = claims_sheet.sheet(circularity(self.span(), self.within()))
        return {"lines": [dataclasses.asdict(line) for line in lines]}


class Emissions(Detail):
    """Show the emissions of the workshop's material by year, and apart from them those avoided.

    Masses are in mg, emissions in kg CO₂e; the two lines are never netted. A year without a factor
    of its own has no statement; `newest` is what the newest factors of an earlier year would give.
    """

    scope = "read"
    answer_class = EmissionsAnswer

    def instance(self) -> dict[str, Any]:
        return {"years": [dataclasses.asdict(year) for year in emissions.years()]}


def _months(ahead: forecast.Forecast) -> list[dict[str, Any]]:
    if ahead.made is None or ahead.inner is None:
        return []
    return [
        # One simulation gave both: the months pair off, and strict says so should that ever change.
        _dated(outer) | {"inner_low": inner.low, "inner_high": inner.high}
        for outer, inner in zip(ahead.made.months, ahead.inner.months, strict=True)
    ]


def _back_test(test: BackTest) -> dict[str, Any]:
    rows = [
        _dated(row.forecast) | {"came": row.actual, "within": row.is_covered} for row in test.rows
    ]
    return {
        "months_ahead": test.lead,
        "covered": test.covered,
        "of": len(rows),
        "mean_error": test.mean_error,
        "months": rows,
    }


def _dated(month: Any) -> dict[str, Any]:
    return {**dataclasses.asdict(month), "month": str(by_index(month.month))}
