"""The books: exports of the journal, account numbers, the write-down policy, the trial balance."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from django import forms
from django.contrib import messages
from django.core.paginator import Paginator
from django.forms.boundfield import BoundField
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import URLPattern, URLResolver, path
from django.utils import timezone
from django.utils.translation import gettext as _t
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_GET, require_http_methods

from inventory.errors import NotFound
from inventory.furniture.pages import frame
from inventory.furniture.pages.access import StaffRequest, allow
from inventory.furniture.pages.forms import ActionForm
from inventory.journal import queries, rules, sums, writing
from inventory.models import JournalExport, Workshop, WriteDown
from inventory.months.queries import months
from inventory.months.reports import headings
from inventory.staff.queries import ACCOUNTANT, OWNER

PER_PAGE = 24
WORDS = {
    ".csv": _("CSV: comma and decimal point"),
    "-comma.csv": _("CSV: semicolon and decimal comma"),
    ".csv-metadata.json": _("What the columns mean, for the first (CSVW)"),
    "-comma.csv-metadata.json": _("What the columns mean, for the second (CSVW)"),
    ".json": _("JSON, with balances"),
    ".xml": _("Audit file (SAF-T), general-ledger part"),
}


class NumbersForm(ActionForm):
    """A number and a tax code for each account."""

    def __init__(self, *args: Any, **facts: Any) -> None:
        known = queries.numbers()
        super().__init__(*args, **facts)
        for key in queries.ACCOUNTS:
            number, tax_code = known.get(key, ("", ""))
            self.fields[key] = forms.CharField(
                label=headings.ACCOUNTS[key], required=False, max_length=20, initial=number
            )
            self.fields[f"tax-{key}"] = forms.CharField(
                label=_("Tax code"), required=False, max_length=10, initial=tax_code
            )

    def rows(self) -> Iterator[tuple[BoundField, BoundField]]:
        """Yield the two fields of each account."""
        for key in queries.ACCOUNTS:
            yield self[key], self[f"tax-{key}"]

    def numbers(self) -> dict[str, tuple[str, str]]:
        """Return what was typed, by account."""
        data = self.cleaned_data
        return {key: (data[key].strip(), data[f"tax-{key}"].strip()) for key in queries.ACCOUNTS}


class PolicyForm(ActionForm):
    """When stock is written down, and why."""

    choice = forms.ChoiceField(
        label=_("Stock is written down below its cost"),
        choices=WriteDown.choices,
        widget=forms.RadioSelect,
    )
    reason = forms.CharField(
        label=_("Why this is so"),
        max_length=rules.REASON_LENGTH_MAX,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text=_("The report prints it. Say what the products sell for against what they cost."),
    )


class HandOverForm(ActionForm):
    """The month whose journal is handed over."""

    month = forms.CharField(widget=forms.HiddenInput, max_length=7)


@require_http_methods(["GET", "HEAD", "POST"])
@allow(ACCOUNTANT, OWNER)
def books(request: StaffRequest) -> HttpResponse:
    """List the exports; a POST hands over the next month's journal."""
    form = HandOverForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        label = form.cleaned_data["month"]
        made = form.attempt(rules.hand_over, label=label, at=timezone.now(), by=request.user)
        if made is not None:
            words = _t("Export %(number)s is ready: the journal of %(month)s.")
            messages.success(request, words % {"number": made.number, "month": made.month})
            return redirect("books")
    return _books(request, form)


def _books(request: StaffRequest, form: HandOverForm) -> HttpResponse:
    following = queries.next_export()
    page = Paginator(JournalExport.objects.order_by("-number"), PER_PAGE)
    shown = page.get_page(request.GET.get("page"))
    workshop = Workshop.the()
    facts = {
        "page": shown,
        "exports": [(one, _files(one)) for one in shown],
        "next": following,
        "form": form if form.is_bound else HandOverForm(initial={"month": following}),
        "missing": _words(queries.unnumbered(following)) if following else [],
        "policy": workshop.get_write_down_display(),
        "policy_reason": workshop.write_down_reason,
        "may_choose": OWNER in frame.roles(request),
    }
    return render(request, "inventory/accounts/books.html", facts)


def _files(export: JournalExport) -> list[tuple[Any, str]]:
    stem = f"journal-{export.number:04d}-{export.month}"
    return [(WORDS[file.suffix], stem + file.suffix) for file in writing.FILES]


def _words(accounts: tuple[str, ...]) -> list[str]:
    return [str(headings.ACCOUNTS[account]) for account in accounts]


@require_GET
@allow(ACCOUNTANT, OWNER)
def export_file(request: HttpRequest, number: int, name: str) -> HttpResponse:
    """Send a file of an export; each time the same bytes."""
    del request
    out = queries.handed_over(queries.export(number))
    for file in writing.FILES:
        # Compared with names that are made here: no name in an address reaches the disk.
        if name == writing.stem(out) + file.suffix:
            response = HttpResponse(file.make(out), content_type=file.media_type)
            response.headers["Content-Disposition"] = f'attachment; filename="{name}"'
            return response
    raise NotFound(_t("There is no such file of this export."))


@require_http_methods(["GET", "HEAD", "POST"])
@allow(ACCOUNTANT, OWNER)
def accounts(request: StaffRequest) -> HttpResponse:
    """Show and change the account numbers."""
    form = NumbersForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        numbers = form.numbers()
        if (
            form.attempt(rules.number_accounts, numbers=numbers, at=timezone.now(), by=request.user)
            is not None
        ):
            messages.success(request, _t("The account numbers are kept."))
            return redirect("books")
    return render(request, "inventory/accounts/numbers.html", {"form": form})


@require_http_methods(["GET", "HEAD", "POST"])
@allow(OWNER)
def write_down(request: StaffRequest) -> HttpResponse:
    """Choose when stock is written down."""
    workshop = Workshop.the()
    initial = {"choice": workshop.write_down, "reason": workshop.write_down_reason}
    form = PolicyForm(request.POST) if request.method == "POST" else PolicyForm(initial=initial)
    if request.method == "POST" and form.is_valid():
        data = {name: form.cleaned_data[name] for name in ("choice", "reason")}
        if form.attempt(rules.set_write_down, **data, at=timezone.now(), by=request.user):
            messages.success(request, _t("The policy is kept. It counts from the next close on."))
            return redirect("books")
    return render(request, "inventory/accounts/write_down.html", {"form": form})


@require_GET
@allow(ACCOUNTANT, OWNER)
def balance(request: HttpRequest, label: str) -> HttpResponse:
    """Show the trial balance of a month and its journal line by line."""
    months.known(label, timezone.now())
    made = queries.trial_balance(label)
    known = queries.numbers()
    facts = {
        "label": label,
        "first_day": months.parsed(label).first_day,
        "closed": made.closed,
        "carried_from": made.carried_from,
        "currency": made.currency,
        "untied": _words(made.untied),
        "rows": [
            (row, headings.ACCOUNTS[row.account], known.get(row.account, ("", ""))[0])
            for row in made.rows
        ],
        "sums": made.total,
        "opening": _sides(row.opening_minor for row in made.rows),
        "closing": _sides(row.closing_minor for row in made.rows),
        "lines": [
            (line, headings.ACCOUNTS[line.account], headings.JOURNAL[line.text_key])
            for line in made.lines
        ],
        "totals": sums.totals(made.lines),
        "export": JournalExport.objects.filter(month=label).first(),
        "wide": True,
    }
    return render(request, "inventory/accounts/balance.html", facts)


def _sides(amounts: Iterable[int]) -> tuple[int, int]:
    """Return the sums of debit and of credit balances."""
    pairs = [sums.sides(amount) for amount in amounts]
    return sum(debit for debit, _credit in pairs), sum(credit for _debit, credit in pairs)


urlpatterns: list[URLPattern | URLResolver] = [
    path("books/", books, name="books"),
    path("books/accounts/", accounts, name="books-accounts"),
    path("books/write-down/", write_down, name="books-write-down"),
    path("books/<int:number>/files/<str:name>", export_file, name="books-file"),
    path("months/<str:label>/balance/", balance, name="month-balance"),
]
