"""Rows that are written once: the Python half of the append-only rule (triggers are the other)."""

from __future__ import annotations

from typing import Any, NoReturn, TypeVar

from django.db import models

from inventory.errors import AppendOnly

RowT = TypeVar("RowT", bound=models.Model)


class WriteOnceQuerySet(models.QuerySet[RowT]):
    """A queryset that reads and inserts, and refuses to change or delete."""

    # `save()` on a stored row does not pass through here (Django goes by `_update`); that way is
    # shut by the triggers alone.
    def update(self, **kwargs: Any) -> NoReturn:
        raise AppendOnly(self.model.__name__)

    def delete(self) -> NoReturn:
        raise AppendOnly(self.model.__name__)


class WriteOnce(models.Model):
    """Base of the append-only tables."""

    objects = WriteOnceQuerySet.as_manager()

    class Meta:
        abstract = True

    def delete(self, *args: Any, **kwargs: Any) -> NoReturn:
        raise AppendOnly(type(self).__name__)
