"""Addresses of the whole service."""

from __future__ import annotations

from django.contrib import admin
from django.urls import include, path
from django.views.generic import RedirectView

from deploy import health

handler500 = "deploy.failing.failed"

urlpatterns = [
    path("", include("returns.urls.customer")),
    path("", include("inventory.staff.pages.urls")),
    path("", include("returns.urls.bench")),
    path("", include("returns.urls.workroom")),
    path("", include("inventory.months.pages.urls")),
    path("", include("inventory.journal.pages")),
    path("", include("returns.urls.owner")),
    path("", include("returns.urls.setup")),
    path("api/", include("returns.urls.api")),
    # One door: its own would let a first password in again and again.
    path("admin/login/", RedirectView.as_view(pattern_name="login", query_string=True)),
    # The framework's own page lets a wrong old password be tried without end.
    path("admin/password_change/", RedirectView.as_view(pattern_name="password-change")),
    path("admin/", admin.site.urls),
    path("alive/", health.alive, name="alive"),
    path("ready/", health.ready, name="ready"),
    path("health/", health.whole, name="health"),
    path("metrics/", health.measured, name="metrics"),
]
