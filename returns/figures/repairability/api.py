"""How easy each model is to repair, and which screw a worn hole can take."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django.urls import URLPattern, path
from django.utils.translation import gettext as _
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter
from rest_framework import serializers

from inventory.errors import BadInput
from inventory.furniture.api.views import Detail
from returns.figures.circularity.queries.judged import told
from returns.figures.repairability import queries as repairability
from returns.figures.repairability.queries import ModelProfile
from returns.grading.sums.facts import PPM
from returns.mending import sums as threads
from returns.mending.sums import Thread, ThreadError
from returns.models import Policy

WALL_UM_MAX = 20_000


class ProfileAnswer(serializers.Serializer[ModelProfile]):
    """Scores 1 to 5, none for a model whose scores are incomplete. Borrowed from EN 45554 and
    (EU) 2023/1669, which are for other goods: no conformity and no class is claimed."""

    model = serializers.CharField(source="model.code")
    score = serializers.DecimalField(
        source="profile.score", max_digits=6, decimal_places=4, default=None, allow_null=True
    )
    by_part = serializers.DictField(
        source="profile.by_part", child=serializers.FloatField(), default=dict
    )
    by_aspect = serializers.DictField(
        source="profile.by_aspect", child=serializers.FloatField(), default=dict
    )
    missing = serializers.ListField(
        child=serializers.CharField(), help_text="Components without scores."
    )


class ProfilesAnswer(serializers.Serializer[Any]):
    models = ProfileAnswer(many=True)


class Profiles(Detail):
    """How easy each model that is still served is to repair."""

    scope = "read"
    answer_class = ProfilesAnswer

    def thing(self) -> dict[str, Any]:
        return {"models": repairability.profiles()}


class SizeAnswer(serializers.Serializer[Thread]):
    """Basic dimensions after ISO 68-1, mm; null for the miniature size, which has another
    profile."""

    size = serializers.CharField(source="name")
    diameter_mm = serializers.FloatField()
    pitch_mm = serializers.FloatField()
    pitch_diameter_mm = serializers.SerializerMethodField()
    nut_minor_mm = serializers.SerializerMethodField()
    tap_drill_mm = serializers.SerializerMethodField()

    def get_pitch_diameter_mm(self, thread: Thread) -> float | None:
        return _dimension(thread, "pitch_diameter_mm")

    def get_nut_minor_mm(self, thread: Thread) -> float | None:
        return _dimension(thread, "nut_minor_mm")

    def get_tap_drill_mm(self, thread: Thread) -> float | None:
        return _dimension(thread, "tap_drill_mm")


class ScrewStepAnswer(serializers.Serializer[Any]):
    """`following` is null where `refused` says why there is no next size for this hole."""

    sizes = SizeAnswer(many=True)
    wall_ratio = serializers.FloatField(help_text="Wall needed, in diameters of the new screw.")
    following = serializers.CharField(allow_null=True)
    wall_left_mm = serializers.FloatField(allow_null=True)
    wall_needed_mm = serializers.FloatField(allow_null=True)
    refused = serializers.CharField(allow_null=True)


class ScrewSteps(Detail):
    """The screw sizes; with a size and a wall, the next size that a worn hole can take."""

    scope = "read"
    answer_class = ScrewStepAnswer
    header_parameters = [
        OpenApiParameter("size", OpenApiTypes.STR, description="Size now, such as M1.4x0.3."),
        OpenApiParameter(
            "wall_um", OpenApiTypes.INT, description="Thinnest plastic beside the thread, µm."
        ),
    ]

    def thing(self) -> dict[str, Any]:
        ratio = Decimal(Policy.the().wall_ratio_ppm) / PPM
        answer: dict[str, Any] = {
            "sizes": threads.THREADS,
            "wall_ratio": ratio,
            **dict.fromkeys(("following", "wall_left_mm", "wall_needed_mm", "refused")),
        }
        size = self.request.GET.get("size", "")
        return answer | self._step(size, ratio) if size else answer

    def _step(self, size: str, ratio: Decimal) -> dict[str, Any]:
        try:
            current = threads.named(size[:20])
        except ThreadError as error:
            raise BadInput(told(error), field="size") from error
        try:
            found = threads.step_up(current, self._wall_mm(), wall_ratio=ratio)
        except ThreadError as error:
            return {"refused": error.code}
        return {
            "following": found.thread.name,
            "wall_left_mm": found.wall_left_mm,
            "wall_needed_mm": found.wall_needed_mm,
        }

    def _wall_mm(self) -> Decimal:
        text = self.request.GET.get("wall_um", "")
        usable = text.isascii() and text.isdigit() and len(text) <= len(str(WALL_UM_MAX))
        if not usable or int(text) > WALL_UM_MAX:
            told = _("Give the wall in whole micrometres, at most %(most)s.")
            raise BadInput(told % {"most": WALL_UM_MAX}, field="wall_um")
        return Decimal(text) / 1000


def _dimension(thread: Thread, name: str) -> float | None:
    return float(getattr(threads.geometry(thread), name)) if thread.is_iso_profile else None


urlpatterns: list[URLPattern] = [
    path("repairability/", Profiles.as_view(), name="api-repairability"),
    path("screw-steps/", ScrewSteps.as_view(), name="api-screw-steps"),
]
