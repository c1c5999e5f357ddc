"""Fields and bodies that the API's serializers are made of; a body may hold only what is described.

A code or name in a body becomes its row here; unknown fields are refused, so that a misspelt one
is never taken for "left out".
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import UTC
from typing import Any

from django.db.models import Model, QuerySet
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.exceptions import ErrorDetail, ValidationError

from inventory.errors import NotFound
from inventory.ledger.sums.scans import TYPED_LENGTH_MAX
from inventory.models import Reading, Scale
from inventory.weighing.queries import readings
from inventory.weighing.sums import traced

CODE_LENGTH_MAX = 80
MINOR_MAX = 2_000_000_000
PIECES_MAX = 1_000_000


class Body(serializers.Serializer[Any]):
    """What a POST may hold."""

    def to_internal_value(self, data: Any) -> Any:
        if isinstance(data, Mapping):
            self._refuse_unknown(data)
        return super().to_internal_value(data)

    def _refuse_unknown(self, data: Mapping[str, Any]) -> None:
        # Twenty names at most, so that an answer cannot be made much larger than the question.
        unknown = sorted(set(map(str, data)) - set(self.fields))
        if unknown:
            given = _("There is no such field here. Leave it out or mend its name.")
            raise ValidationError({name: [ErrorDetail(given, "unknown")] for name in unknown[:20]})


class Nothing(Body):
    """A POST that needs no body."""


class KnownCode(serializers.CharField):
    """The code or name of a row, which it becomes. `rows` is called for each look-up."""

    default_error_messages = {"unknown": gettext_lazy("There is nothing under “{text}”. Check it.")}

    def __init__(
        self, rows: Callable[[], QuerySet[Any]], *, by: str = "code", **options: Any
    ) -> None:
        # A function and no queryset: one that is made when the module is read may keep its answer.
        self.rows = rows
        self.by = by
        super().__init__(max_length=CODE_LENGTH_MAX, **options)

    def run_validation(self, data: Any = serializers.empty) -> Any:
        text = super().run_validation(data)
        if not isinstance(text, str) or not text:
            return text or None
        row = self.rows().filter(**{self.by: self.read(text)}).first()
        if row is None:
            self.fail("unknown", text=text)
        return row

    def read(self, text: str) -> str:
        """Return the text as it is looked up."""
        return text

    def to_representation(self, value: Any) -> str:
        return str(getattr(value, self.by))


class ScaleName(KnownCode):
    """A scale in use, by its name."""

    def __init__(self, **options: Any) -> None:
        super().__init__(lambda: Scale.objects.filter(in_use=True), by="name", **options)


class TypedMass(serializers.CharField):
    """A mass as the scale shows it, such as "24.31 g". The scale's rule reads it, exactly."""

    def __init__(self, **options: Any) -> None:
        options.setdefault("help_text", "As the scale shows it, for example 24,31 or 24.31 g.")
        super().__init__(max_length=40, **options)


class Scanned(serializers.CharField):
    """A label as a hand scanner reads it: its code alone, or the link in its QR code."""

    def __init__(self, **options: Any) -> None:
        super().__init__(max_length=TYPED_LENGTH_MAX, **options)


class Moment(serializers.DateTimeField):
    """A moment in UTC, as ISO 8601 has it."""

    def __init__(self, **options: Any) -> None:
        super().__init__(default_timezone=UTC, **options)


class Pieces(serializers.IntegerField):
    def __init__(self, *, least: int = 1, **options: Any) -> None:
        super().__init__(min_value=least, max_value=PIECES_MAX, **options)


class Minor(serializers.IntegerField):
    """Money in whole minor units of the workshop's currency."""

    def __init__(self, **options: Any) -> None:
        super().__init__(min_value=0, max_value=MINOR_MAX, **options)


@extend_schema_field(OpenApiTypes.STR)
class Code(serializers.Field[Any, Any, Any, Any]):
    """The code of a related row on the way out; null where there is none."""

    def __init__(self, *, by: str = "code", **options: Any) -> None:
        self.by = by
        super().__init__(read_only=True, **options)

    def to_representation(self, value: Any) -> Any:
        return str(getattr(value, self.by))


@extend_schema_field({"type": "array", "items": {"type": "string"}})
class Codes(Code):
    """The codes of related rows on the way out, in their order."""

    def to_representation(self, value: Any) -> Any:
        return [str(getattr(row, self.by)) for row in value.all()]


class KnownMass(serializers.Serializer[Any]):
    """How well a mass is known. `expanded_ug` is null where no reading stands behind it.

    `unweighed_mg` is the part that no weighing supports, which `expanded_ug` leaves out.
    """

    expanded_ug = serializers.SerializerMethodField()
    coverage_factor = serializers.SerializerMethodField()
    unweighed_mg = serializers.IntegerField(source="booked_mg")
    readings = serializers.IntegerField()
    flags = serializers.SerializerMethodField(help_text="What was out of order with a scale.")

    def get_expanded_ug(self, given: traced.MassUncertainty) -> int | None:
        return given.expanded_ug if given.is_weighed else None

    def get_coverage_factor(self, _given: traced.MassUncertainty) -> int:
        return traced.COVERAGE

    @extend_schema_field({"type": "array", "items": {"type": "string"}})
    def get_flags(self, given: traced.MassUncertainty) -> list[str]:
        return sorted({flag for (_scale, flag), _count in given.flags})


@extend_schema_field(KnownMass(allow_null=True))
class ReadingKnown(serializers.Field[Any, Any, Any, Any]):
    """How well the mass of one reading is known; null where there is no reading."""

    def __init__(self, **options: Any) -> None:
        super().__init__(read_only=True, **options)

    def to_representation(self, value: Reading) -> dict[str, Any]:
        return known_mass(readings.known(value))


@extend_schema_field(KnownMass(allow_null=True))
class KnownTogether(serializers.Field[Any, Any, Any, Any]):
    """How well a mass of each row is known, asked once for a page; null where it has none.

    `ask` takes rows and returns a mapping by their `by`, such as their code.
    """

    def __init__(
        self, *, ask: Callable[[Sequence[Any]], Mapping[str, traced.MassUncertainty]], by: str
    ) -> None:
        self.ask, self.by = ask, by
        self.known: dict[int, traced.MassUncertainty | None] = {}
        super().__init__(read_only=True, source="*")

    def to_representation(self, value: Any) -> dict[str, Any] | None:
        if value.pk not in self.known:
            # The whole page at once: asked row by row, each would cost a replay of its own.
            page = getattr(self.parent.parent, "instance", None)
            rows = page if isinstance(page, list) else [value]
            found = self.ask(rows)
            self.known |= {row.pk: found.get(getattr(row, self.by)) for row in rows}
        given = self.known[value.pk]
        return None if given is None else known_mass(given)


def known_mass(given: traced.MassUncertainty | None) -> dict[str, Any]:
    """Return the uncertainty of a mass in the form that the API shows."""
    return dict(KnownMass(given or traced.MassUncertainty()).data)


def found(rows: QuerySet[Any], **by: str) -> Any:
    """Return the row under a code of the address. Raises NotFound, also for what can be no code."""
    # PostgreSQL refuses a NUL in a text with an error, where "not found" is the answer.
    if any(len(text) > CODE_LENGTH_MAX or "\x00" in text for text in by.values()):
        raise NotFound()
    row: Model | None = rows.filter(**by).first()
    if row is None:
        raise NotFound()
    return row
