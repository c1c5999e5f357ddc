"""Addresses of the whole service."""

from __future__ import annotations

from django.contrib import admin
from django.urls import include, path

from deploy import health

handler500 = "deploy.failing.failed"

urlpatterns = [
    path("", include("returns.urls.customer")),
    path("", include("inventory.staff.pages.urls")),
    path("", include("returns.urls.bench")),
    path("", include("returns.urls.workroom")),
    path("", include("inventory.months.pages.urls")),
    path("", include("returns.urls.owner")),
    path("", include("returns.urls.setup")),
    path("api/", include("returns.urls.api")),
    path("admin/", admin.site.urls),
    path("alive/", health.alive, name="alive"),
    path("ready/", health.ready, name="ready"),
]
