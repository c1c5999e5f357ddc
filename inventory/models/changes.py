"""Every change of what the owner sets is kept: before, after, who, when, and from where.

A table is kept by its base, `Kept`, not by a call that somebody might forget: rules, pages, the
API, the admin, commands and the shell all write through it. The rows are written once.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, ClassVar, Final, TypeVar

from django.conf import settings
from django.contrib.auth.models import Group, User
from django.db import models, transaction
from django.db.models.signals import m2m_changed, post_delete, post_save, pre_save
from django.dispatch import receiver
from django.http import HttpRequest
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from inventory.models.appendonly import WriteOnce

RowT = TypeVar("RowT", bound=models.Model)
Facts = dict[str, Any]

HIDDEN: Final = "•••"
"""In place of what is secret or a person's: that it changed is known, what it was is not."""
_PLAIN: Final = (str, int, bool, list, dict, type(None))


class Change(WriteOnce):
    """One row of one table, as it was and as it became; of a change, the changed fields only."""

    class Deed(models.TextChoices):
        MADE = "made", _("made")
        CHANGED = "changed", _("changed")
        REMOVED = "removed", _("removed")

    at = models.DateTimeField(_("when"), db_index=True)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+", verbose_name=_("who")
    )
    # The pattern of the address and not the address, which may hold a secret or a name.
    through = models.CharField(_("from where"), max_length=160)
    table = models.CharField(_("table"), max_length=60, db_index=True)
    row = models.CharField(_("row"), max_length=40)
    name = models.CharField(_("name"), max_length=80)
    deed = models.CharField(_("deed"), max_length=8, choices=Deed.choices)
    before = models.JSONField(_("before"), default=dict)
    after = models.JSONField(_("after"), default=dict)

    class Meta:
        verbose_name = _("change")
        verbose_name_plural = _("changes")
        indexes = (models.Index(fields=["table", "row"], name="change_table_row"),)

    def __str__(self) -> str:
        return f"{self.deed} {self.table} {self.row}"


class KeptQuerySet(models.QuerySet[RowT]):
    """Keeps what goes past the signals of single rows. `bulk_update` ends in `update`."""

    def update(self, **kwargs: Any) -> int:
        with transaction.atomic():
            before = {row.pk: _facts(row) for row in self.all().select_for_update()}
            count: int = super().update(**kwargs)
            for row in self.model._base_manager.filter(pk__in=before):
                _note(row, before[row.pk], _facts(row))
        return count

    def bulk_create(self, objs: Any, *args: Any, **kwargs: Any) -> list[RowT]:
        with transaction.atomic():
            made: list[RowT] = super().bulk_create(objs, *args, **kwargs)
            for row in made:
                _note(row, {}, _facts(row))
        return made


class Kept(models.Model):
    """Base of the tables whose every change is kept. `hidden` names fields that are not shown."""

    hidden: ClassVar[tuple[str, ...]] = ()
    objects = KeptQuerySet.as_manager()

    class Meta:
        abstract = True


# The framework's own tables of logins and rights; of people only what decides what they may do.
_LOGINS: Final[Mapping[type[models.Model], tuple[str, ...]]] = {
    User: ("username", "first_name", "password", "is_active", "is_staff", "is_superuser"),
    Group: ("name",),
}
_OF_A_PERSON: Final = ("username", "first_name", "password")


@dataclass(frozen=True)
class Deed:
    """The rule that is running: its name, who called it, and when it says it happened."""

    rule: str
    by: User | None
    at: datetime | None


_deed: ContextVar[Deed | None] = ContextVar("running_rule", default=None)
_request: ContextVar[HttpRequest | None] = ContextVar("request_of_changes", default=None)


@contextmanager
def acting(*, rule: str, by: Any, at: Any) -> Iterator[None]:
    """Say which rule runs: the frame of the rules does so."""
    mark = _deed.set(Deed(rule, by, at))
    try:
        yield
    finally:
        _deed.reset(mark)


@contextmanager
def asked_by(request: HttpRequest) -> Iterator[None]:
    """Say which request is served: the door that each request passes does so."""
    mark = _request.set(request)
    try:
        yield
    finally:
        _request.reset(mark)


def is_kept(model: type[models.Model]) -> bool:
    return issubclass(model, Kept) or model in _LOGINS


def _facts(row: models.Model) -> Facts:
    names = _LOGINS.get(type(row))
    fields = [one for one in row._meta.concrete_fields if names is None or one.name in names]
    facts = {one.name: getattr(row, one.attname) for one in fields if not one.primary_key}
    return {
        name: value if isinstance(value, _PLAIN) else str(value) for name, value in facts.items()
    }


def _note(row: models.Model, before: Facts, after: Facts) -> None:
    names = sorted(name for name in {*before, *after} if before.get(name) != after.get(name))
    if before and after and not names:
        return
    hidden = _OF_A_PERSON if type(row) is User else getattr(row, "hidden", ())
    deeds = Change.Deed
    deed, request = _deed.get(), _request.get()
    by = deed.by.pk if deed and deed.by else request.user.pk if request is not None else None
    Change.objects.create(
        at=(deed.at if deed else None) or timezone.now(),
        by_id=by,
        through=" · ".join(filter(None, [_place(request), deed.rule if deed else ""]))[:160],
        table=row._meta.label_lower,
        row=str(row.pk),
        name=f"user-{row.pk}" if isinstance(row, User) else str(row)[:80],
        deed=deeds.CHANGED if before and after else deeds.MADE if after else deeds.REMOVED,
        before=_shown(before, names, hidden),
        after=_shown(after, names, hidden),
    )


def _shown(facts: Facts, names: list[str], hidden: tuple[str, ...]) -> Facts:
    return {
        name: HIDDEN if name in hidden and facts[name] not in ("", None) else facts[name]
        for name in names
        if name in facts
    }


def _place(request: HttpRequest | None) -> str:
    if request is not None and request.resolver_match is not None:
        return f"/{request.resolver_match.route}"
    is_command = Path(sys.argv[0]).name == "manage.py" and len(sys.argv) > 1
    return f"command {sys.argv[1]}" if is_command else "-"


@receiver(pre_save, dispatch_uid="hingeback-kept-before")
def _before_save(
    sender: type[models.Model], instance: Any, update_fields: Any = None, **_signal: Any
) -> None:
    instance.__dict__.pop("_kept_before", None)
    if not is_kept(sender) or instance._state.adding:
        return
    # A sign-in writes its moment into the login: nothing that is kept.
    if update_fields is not None and not {*update_fields} & {*_facts(instance)}:
        return
    row = sender._base_manager.filter(pk=instance.pk).first()
    instance.__dict__["_kept_before"] = _facts(row) if row is not None else {}


@receiver(post_save, dispatch_uid="hingeback-kept-after")
def _after_save(
    sender: type[models.Model], instance: Any, created: bool, raw: bool, **_signal: Any
) -> None:
    # What is told from a recording brings its own rows of changes.
    if not is_kept(sender) or raw:
        return
    before = instance.__dict__.pop("_kept_before", None)
    if created or before is not None:
        _note(instance, before or {}, _facts(instance))


@receiver(post_delete, dispatch_uid="hingeback-kept-removed")
def _after_delete(sender: type[models.Model], instance: Any, **_signal: Any) -> None:
    if is_kept(sender):
        _note(instance, _facts(instance), {})


@receiver(m2m_changed, sender=User.groups.through, dispatch_uid="hingeback-kept-roles")
@receiver(m2m_changed, sender=User.user_permissions.through, dispatch_uid="hingeback-kept-rights")
@receiver(m2m_changed, sender=Group.permissions.through, dispatch_uid="hingeback-kept-group")
def _rights(instance: Any, action: str, reverse: bool, pk_set: Any, sender: Any, **_s: Any) -> None:
    """Roles and single rights, by the names of what is held before and after."""
    holders = instance.__class__ if not reverse else User
    field = {"User_groups": "groups", "User_user_permissions": "user_permissions"}.get(
        sender.__name__, "permissions"
    )
    if reverse and sender.__name__ == "Group_permissions":
        holders = Group
    rows = holders.objects.filter(pk__in=pk_set or []) if reverse else [instance]
    for row in rows:
        held = {field: sorted(map(str, getattr(row, field).all()))}
        kept = row.__dict__ if not reverse else instance.__dict__.setdefault("_kept_rights", {})
        mark = f"_kept_{field}_{row.pk}"
        if action.startswith("pre_"):
            kept[mark] = held
        else:
            _note(row, kept.pop(mark, {field: []}), held)
