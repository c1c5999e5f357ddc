"""Taking a load in with its giver, the evidence kept with it, and forgetting who gave it."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial
from typing import TYPE_CHECKING, Final
from uuid import UUID

from django.conf import settings
from django.db import transaction
from django.db.models import Q
from django.utils.translation import gettext as _

from inventory import events
from inventory.errors import BadInput, Conflict
from inventory.events import Draft
from inventory.goods import rules as loads
from inventory.goods.rules import Goods
from inventory.material.rules.material import Weighing
from inventory.models import Load, Workshop
from returns.filing.rules import photos
from returns.filing.rules.photos import Paper, Picture
from returns.furniture import links
from returns.models import Evidence, Giver

if TYPE_CHECKING:
    from django.contrib.auth.models import User

EVIDENCE_MAX: Final = 12
NAME_LENGTH_MAX: Final = 80
CONTACT_LENGTH_MAX: Final = 120


@dataclass(frozen=True, slots=True, kw_only=True)
class Who:
    """Who gave a load; both are empty when nobody is named."""

    name: str = ""
    contact: str = ""

    def mark(self) -> str:
        """Return a keyed fingerprint: nobody can try names against it."""
        return events.sealed("hingeback.givers", f"{self.name.strip()}\n{self.contact.strip()}")


def _again(load: Load) -> Load:
    return Load.objects.get(pk=load.pk)


@events.rule(
    "goods.take_in",
    facts=lambda goods, weighing, who: [*goods.facts(), *weighing.facts(), who.mark()],
    again=lambda event: Load.objects.get(code=event.subject),
)
def take_in(
    event: Draft,
    /,
    *,
    key: UUID,
    goods: Goods,
    weighing: Weighing,
    who: Who,
    at: datetime,
    by: User,
) -> Load:
    """Weigh a load in, write down who gave it, and make the link that tells what became of it.

    Raises BadInput as the weighing does, and for a name or contact that is too long.
    """
    for text, most, field in (
        (who.name, NAME_LENGTH_MAX, "name"),
        (who.contact, CONTACT_LENGTH_MAX, "contact"),
    ):
        if len(text.strip()) > most:
            raise BadInput(_("Keep it to %(most)s characters.") % {"most": most}, field=field)
    load = loads.receive(key=uuid.uuid5(key, "load"), goods=goods, weighing=weighing, at=at, by=by)
    salt = links.fresh_salt()
    Giver.objects.create(
        load=load,
        link_salt=salt,
        link_hash=links.hashed(salt),
        name=who.name.strip(),
        contact=who.contact.strip(),
    )
    event.of(load.code)
    return load


@events.rule(
    "goods.add_evidence",
    facts=lambda load, kind, note: [load.code, kind, note.strip()],
    again=lambda event: Evidence.objects.filter(pk=event.detail["evidence"]).first(),
    # A browser that sends a form again sends its picture again; the one that was kept stays.
    aside=["picture"],
)
def add_evidence(
    event: Draft,
    /,
    *,
    key: UUID,
    load: Load,
    kind: str,
    note: str,
    picture: Picture | Paper,
    at: datetime,
    by: User,
) -> Evidence:
    """Keep a picture or a PDF that shows where a load came from, at most twelve a load."""
    if kind not in Evidence.Kind.values:
        raise BadInput(_("Say what it is."), field="kind")
    if len(note.strip()) > CONTACT_LENGTH_MAX:
        raise BadInput(_("Keep the note to 120 characters."), field="note")
    if load.evidence.count() >= EVIDENCE_MAX:
        raise BadInput(
            _("At most %(most)s pieces of evidence, please.") % {"most": EVIDENCE_MAX},
            field="picture",
        )
    kept = Evidence.objects.create(
        load=load,
        kind=kind,
        file_name=photos.stored(picture),
        note=note.strip(),
        added_at=at,
    )
    event.of(load.code, evidence=kept.pk)
    return kept


@events.rule(
    "goods.drop_evidence",
    facts=lambda evidence: [evidence.pk],
    again=lambda event: Load.objects.get(code=event.subject),
)
def drop_evidence(
    event: Draft, /, *, key: UUID, evidence: Evidence, at: datetime, by: User
) -> Load:
    """Delete a picture that should not have been kept; its file goes once that is sure."""
    load = evidence.load
    event.of(load.code, evidence=evidence.pk)
    transaction.on_commit(partial(photos.unlink, [evidence.file_name]), robust=True)
    evidence.delete()
    return load


@events.rule("goods.forget_giver", facts=lambda load: [load.code], again=_again)
def forget_giver(event: Draft, /, *, key: UUID, load: Load, at: datetime, by: User) -> Load:
    """Blank who gave a load; its grams, its evidence and its link stay."""
    if not _blank(Q(load=load)):
        raise Conflict(_("Nobody is named with this load."))
    event.of(load.code)
    return _again(load)


def forget_old(at: datetime) -> int:
    """Blank the givers of loads that were sorted longer ago than personal data is kept."""
    limit = at - timedelta(days=Workshop.the().retention_days)
    return _blank(
        Q(load__finished_at__lt=limit) | Q(load__state="void", load__received_at__lt=limit)
    )


def _blank(which: Q) -> int:
    named = ~Q(name="") | ~Q(contact="")
    # The ids first: an UPDATE cannot join the load's table.
    rows = list(Giver.objects.filter(which & named).values_list("pk", flat=True))
    return Giver.objects.filter(pk__in=rows).update(name="", contact="")


def link_secret(load: Load) -> str:
    """Return the secret of a load's private link, made anew when the key that it had is gone."""
    giver = Giver.objects.get(load=load)
    found = links.secret(giver.link_salt, giver.link_hash)
    if found is None:
        Giver.objects.filter(pk=giver.pk).update(link_hash=links.hashed(giver.link_salt))
        found = links.derived(settings.SECRET_KEY, giver.link_salt)
    return found
