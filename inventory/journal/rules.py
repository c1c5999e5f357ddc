"""Numbering the accounts, choosing when stock is written down, and handing a journal over."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import datetime
from typing import TYPE_CHECKING
from uuid import UUID

from django.utils.translation import gettext as _

from inventory import events
from inventory.errors import BadInput, Conflict
from inventory.events import Draft
from inventory.journal import queries, sums
from inventory.models import AccountNumber, Counter, JournalExport, Workshop, WriteDown
from inventory.months.queries import months
from inventory.numbering import next_number

if TYPE_CHECKING:
    from django.contrib.auth.models import User

NUMBER = re.compile(r"[0-9A-Za-z][0-9A-Za-z./-]{0,19}")
TAX_CODE = re.compile(r"[0-9A-Za-z]{0,10}")
REASON_LENGTH_MAX = 300
SERIES = "journal export"
EVENTS_OF = "accounts"


@events.rule(
    "journal.number_accounts",
    facts=lambda numbers: sorted([key, *pair] for key, pair in numbers.items()),
    again=queries.numbers,
)
def number_accounts(
    event: Draft,
    /,
    *,
    key: UUID,
    numbers: Mapping[str, tuple[str, str]],
    at: datetime,
    by: User,
) -> dict[str, tuple[str, str]]:
    """Give accounts their number and tax code in the accountant's chart; "" takes a number away.

    Raises BadInput, naming the account's key as the field, for a key that the journal does not
    know, and for a number or tax code with other signs than letters, digits, ". / -".
    """
    del at, by
    for account, (number, tax_code) in numbers.items():
        if account not in queries.ACCOUNTS:
            raise BadInput(_("The journal has no such account."), field=account)
        if (number and not NUMBER.fullmatch(number)) or not TAX_CODE.fullmatch(tax_code):
            raise BadInput(
                _("Write the number with letters, digits and . / - only, up to 20 of them."),
                field=account,
            )
    for account, (number, tax_code) in numbers.items():
        if number:
            AccountNumber.objects.update_or_create(
                key=account, defaults={"number": number, "tax_code": tax_code}
            )
        else:
            AccountNumber.objects.filter(key=account).delete()
    event.of(EVENTS_OF, accounts=sorted(numbers))
    return queries.numbers()


@events.rule(
    "journal.set_write_down",
    facts=lambda choice, reason: [choice, reason.strip()],
    again=Workshop.the,
)
def set_write_down(
    event: Draft, /, *, key: UUID, choice: str, reason: str, at: datetime, by: User
) -> Workshop:
    """Choose when stock is written down, with the reason that the report prints.

    It counts from the next close on. Raises BadInput without a reason or for an unknown choice.
    """
    del at, by
    if choice not in WriteDown.values:
        raise BadInput(_("Choose one of the two."), field="choice")
    if not 1 <= len(reason.strip()) <= REASON_LENGTH_MAX:
        raise BadInput(_("Say why, in up to 300 characters."), field="reason")
    workshop = Workshop.the()
    workshop.write_down, workshop.write_down_reason = choice, reason.strip()
    workshop.save(update_fields=["write_down", "write_down_reason"])
    event.of("workshop", choice=choice)
    return workshop


@events.rule(
    "journal.hand_over",
    facts=lambda label: ["hand over", label],
    again=lambda label: JournalExport.objects.get(month=label),
)
def hand_over(event: Draft, /, *, key: UUID, label: str, at: datetime, by: User) -> JournalExport:
    """Number the journal of a closed month and keep what proves it. A repeat returns the same.

    Raises:
        NotFound: the label names no month.
        Conflict: the month is open, was handed over before, is not the next one, or has accounts
            without a number; `facts["accounts"]` then lists them.
    """
    months.parsed(label)
    # One at a time: the number below is drawn after the looks, and two hands must not pass them.
    Counter.objects.get_or_create(name=SERIES)
    Counter.objects.select_for_update().get(name=SERIES)
    _refuse_unfit(label)
    lines = queries.of_month(label)
    debit_minor, credit_minor = sums.totals(lines)
    made = JournalExport.objects.create(
        number=next_number(SERIES),
        month=label,
        made_at=at,
        made_by=by,
        accounts={key: list(pair) for key, pair in queries.numbers().items()},
        lines=len(lines),
        debit_minor=debit_minor,
        credit_minor=credit_minor,
        digest=sums.digest(label, lines),
    )
    event.of(label, number=made.number, digest=made.digest)
    return made


def _refuse_unfit(label: str) -> None:
    if months.closed(label) is None:
        raise Conflict(_("%(month)s is not closed. Close it first.") % {"month": label})
    if JournalExport.objects.filter(month=label).exists():
        raise Conflict(_("The journal of %(month)s was handed over before.") % {"month": label})
    first = JournalExport.objects.order_by("month").first()
    expected = queries.next_export()
    if first is not None and label != expected:
        raise Conflict(
            _("Journals are handed over in order: the next one is %(month)s.")
            % {"month": expected or "–"}
        )
    missing = queries.unnumbered(label)
    if missing:
        raise Conflict(
            _("These accounts have no number yet: %(accounts)s.")
            % {"accounts": ", ".join(missing)},
            accounts=list(missing),
        )
