"""Figures for Prometheus: requests as they end, and what the database holds when it is asked.

Served, each process writes its counts to a folder that all of them share, and one answer adds them
up. Names and labels are ours; units are base units, as Prometheus wants them (its documentation,
"Metric and label naming").
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterable
from datetime import datetime
from typing import Final

from django.db.models import Count, Max, Min, Q
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from prometheus_client import REGISTRY, CollectorRegistry, Histogram, generate_latest
from prometheus_client.core import GaugeMetricFamily
from prometheus_client.exposition import CONTENT_TYPE_LATEST
from prometheus_client.metrics_core import Metric
from prometheus_client.multiprocess import MultiProcessCollector
from prometheus_client.registry import Collector

from inventory.models import OutboxMessage, Posting
from inventory.running.queries import health

MEDIA_TYPE: Final = CONTENT_TYPE_LATEST

_REQUEST_SECONDS = Histogram(
    "hingeback_request_seconds",
    "Seconds to answer, by the address's name, the method and the class of the status.",
    ["page", "method", "status"],
    buckets=(0.05, 0.15, 0.3, 1.0, 3.0, 10.0, 30.0),
)
# What a stranger types must not make new series without end.
_METHODS: Final = frozenset({"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"})


class MetricsMiddleware:
    """Counts each request when its answer is made; the outermost, so that it sees them all."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        begun = time.perf_counter()
        answer = self.get_response(request)
        found = request.resolver_match
        method = request.method if request.method in _METHODS else "other"
        _REQUEST_SECONDS.labels(
            (found.view_name or "unnamed") if found else "none",
            method,
            f"{answer.status_code // 100}xx",
        ).observe(time.perf_counter() - begun)
        return answer


def text() -> bytes:
    """Return all figures in the text format: of every process, and of the database now."""
    registry = CollectorRegistry()
    if os.environ.get("PROMETHEUS_MULTIPROC_DIR"):
        MultiProcessCollector(registry)  # type: ignore[no-untyped-call]
    else:
        registry.register(_Ours())
    registry.register(_Kept())
    return generate_latest(registry)


class _Ours(Collector):
    """What this one process counted, where nobody shares a folder."""

    def collect(self) -> Iterable[Metric]:
        return REGISTRY.collect()


class _Kept(Collector):
    """What the database says at the moment of the question."""

    def collect(self) -> Iterable[Metric]:
        now = timezone.now()
        yield from _messages(now)
        postings = GaugeMetricFamily(
            "hingeback_last_posting", "Number of the ledger's newest posting; it only grows."
        )
        postings.add_metric([], Posting.objects.aggregate(newest=Max("pk"))["newest"] or 0)
        yield postings
        well = GaugeMetricFamily(
            "hingeback_check_well",
            "1 where the check of that name is well, else 0.",
            labels=["check"],
        )
        for check in health.checks(now):
            well.add_metric([check.code], int(check.is_well))
        yield well


def _messages(now: datetime) -> Iterable[Metric]:
    """Count and age of what waits in the outbox, by topic."""
    waiting = GaugeMetricFamily(
        "hingeback_messages_waiting", "Messages that could be settled now.", labels=["topic"]
    )
    oldest = GaugeMetricFamily(
        "hingeback_oldest_message_seconds", "How long the oldest of them waits.", labels=["topic"]
    )
    given_up = GaugeMetricFamily(
        "hingeback_messages_given_up", "Messages that wait for a person.", labels=["topic"]
    )
    due = Q(given_up_at=None, available_at__lte=now)
    rows = OutboxMessage.objects.filter(settled_at=None).values("topic")
    for row in rows.annotate(
        due=Count("pk", filter=due),
        since=Min("available_at", filter=due),
        lost=Count("pk", filter=Q(given_up_at__isnull=False)),
    ).order_by("topic"):
        age_s = (now - row["since"]).total_seconds() if row["since"] else 0.0
        waiting.add_metric([row["topic"]], row["due"])
        oldest.add_metric([row["topic"]], age_s)
        given_up.add_metric([row["topic"]], row["lost"])
    return [waiting, oldest, given_up]
