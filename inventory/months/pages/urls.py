"""Addresses of the accountant's pages."""

from __future__ import annotations

from django.urls import URLPattern, URLResolver, path

from inventory.ledger import pages as movements
from inventory.months.pages import filing, months

urlpatterns: list[URLPattern | URLResolver] = [
    path("months/", months.listing, name="months"),
    path("months/<str:label>/", months.month, name="month"),
    path("months/<str:label>/close/", months.close, name="month-close"),
    path("months/<str:label>/ask/", months.ask, name="month-ask"),
    path("months/<str:label>/report/", months.report, name="month-report"),
    path("months/<str:label>/figure/<str:row>/<slug:column>/", months.figure, name="month-figure"),
    path("months/<str:label>/files/<str:name>", filing.data_file, name="month-file"),
    path("months/<str:label>/pdf/", filing.pdf, name="month-pdf"),
    path("months/<str:label>/pdf/<uuid:key>/", filing.pdf_file, name="month-pdf-file"),
    path("movements/", movements.listing, name="movements"),
    path("movements/<int:number>/", movements.movement, name="movement"),
]
