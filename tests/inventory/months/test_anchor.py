"""The head of the chain leaves the house: on paper, on the page, and by mail at each close."""

from __future__ import annotations

from typing import Any

import pytest
from django.contrib.auth.models import User
from django.core import mail
from django.test import Client
from django.utils import timezone

from inventory import outbox
from inventory.chain.queries import links
from inventory.models import Month, OutboxMessage
from inventory.months import rules as months
from inventory.months.queries import recovered
from inventory.months.reports import anchor, document
from tests.inventory import month_makers as made
from tests.inventory.month_makers import DEC_2
from tests.makers import Shop, key

pytestmark = pytest.mark.django_db


def closed(shop: Shop) -> Month:
    made.furnished_october(shop)
    for label in ("2026-08", "2026-09", "2026-10"):
        months.close(key=key(), label=label, at=DEC_2, by=None)
    return Month.objects.get(label="2026-10")


def test_what_is_kept_names_the_month_and_the_link_that_stood_last(shop: Shop) -> None:
    month = closed(shop)
    position, digest = month.figures["chain"]
    (link,) = [one for one in links() if one.position == position]
    assert link.digest == digest
    assert anchor.text(month) == f"2026-10 month {month.digest} link {position} {digest}"


def test_each_close_is_mailed_to_the_address_chosen(shop: Shop, settings: Any) -> None:
    settings.ANCHOR_EMAIL = "notary@example.org"
    month = closed(shop)
    waiting = OutboxMessage.objects.filter(topic="anchor").order_by("created_at", "subject")
    assert sorted(one.subject for one in waiting) == ["2026-08", "2026-09", "2026-10"]
    message = waiting.get(subject="2026-10")
    outbox.settle(message.pk, at=timezone.now())
    (sent,) = mail.outbox
    assert sent.to == ["notary@example.org"]
    assert anchor.text(month) in sent.body
    assert sent.extra_headers["Message-ID"].startswith(f"<{message.pk}@")


def test_without_an_address_nothing_is_mailed(shop: Shop) -> None:
    closed(shop)
    assert not OutboxMessage.objects.filter(topic="anchor").exists()


def test_page_and_paper_show_it_with_a_code_to_scan(shop: Shop, acke: User, client: Client) -> None:
    month = closed(shop)
    client.force_login(acke)
    page = client.get("/months/2026-10/report/").content.decode()
    assert anchor.text(month) in page
    figure = page[page.index('<figure class="anchor">') :]
    assert figure.index("<svg") < figure.index("<figcaption>")
    open_month = client.get("/months/2026-11/report/").content.decode()
    assert 'class="anchor"' not in open_month
    facts = document.facts(recovered.of_month("2026-10"), month, "en")
    assert facts["anchor"] == anchor.text(month)
    assert facts["anchor_data"].startswith("data:image/svg+xml")
