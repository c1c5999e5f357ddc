"""Addresses of the whole service."""

from __future__ import annotations

from django.contrib import admin
from django.urls import include, path

from deploy import health

urlpatterns = [
    path("", include("returns.pages.customer.urls")),
    path("", include("inventory.pages.door.urls")),
    path("", include("returns.pages.bench.urls")),
    path("", include("returns.pages.workroom.urls")),
    path("", include("inventory.pages.accounts.urls")),
    path("", include("returns.pages.owner.urls")),
    path("", include("returns.pages.setup.urls")),
    path("api/", include("returns.api.urls")),
    path("admin/", admin.site.urls),
    path("alive/", health.alive, name="alive"),
    path("ready/", health.ready, name="ready"),
]
