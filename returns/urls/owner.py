"""Addresses of the owner's pages."""

from __future__ import annotations

from django.urls import URLPattern, URLResolver, path

from returns.auditing import pages as audits
from returns.catalogue.pages import catalogue, sales
from returns.customers import pages as personal
from returns.figures.circularity.pages import figures
from returns.figures.claims.pages import owner as claims
from returns.figures.design import pages as design
from returns.figures.emissions import pages as emissions
from returns.figures.lifetimes.pages import lifetimes
from returns.figures.press import pages as press
from returns.figures.repairability import pages as repairability
from returns.figures.whatif import pages as whatif
from returns.grading.pages import remedies
from returns.letters import pages as letters
from returns.partners.pages import owner as partners
from returns.setup.pages import tokens
from returns.tracing import pages as tracing

urlpatterns: list[URLPattern | URLResolver] = [
    path("owner/", figures.page, name="owner"),
    path("owner/table/<slug:name>.csv", figures.download, name="owner-table"),
    path("owner/audits/", audits.page, name="audits"),
    path("owner/audits/<int:number>/", audits.one, name="audit"),
    path("owner/audits/<int:number>/chances.csv", audits.download, name="audit-table"),
    path("owner/claims/", claims.page, name="claims"),
    path("owner/claims/publish/", claims.publish, name="claims-publish"),
    path("owner/claims/withdraw/", claims.withdraw, name="claims-withdraw"),
    path("owner/emissions/", emissions.page, name="emissions"),
    path("owner/letters/", letters.page, name="letters"),
    path("owner/letters/again/", letters.try_again, name="letters-again"),
    path("owner/lifetimes/", lifetimes.page, name="lifetimes"),
    path("owner/lifetimes/table/<slug:name>.csv", lifetimes.download, name="lifetimes-table"),
    path("owner/models/", catalogue.page, name="models-list"),
    path("owner/models/import/", catalogue.bring_in, name="models-import"),
    path("owner/models/template.csv", catalogue.template, name="models-template"),
    path("owner/partners/", partners.page, name="partners"),
    path("owner/partners/<int:number>/", partners.one, name="partner-one"),
    path("owner/partners/<int:number>/sheet/", partners.sheet, name="partner-sheet"),
    path(
        "owner/partners/<int:number>/sheet/<int:sheet>.pdf",
        partners.sheet_paper,
        name="partner-sheet-paper",
    ),
    path("owner/partners/<int:number>/renew/", partners.renew, name="partner-renew"),
    path("owner/partners/<int:number>/close/", partners.close, name="partner-close"),
    path("owner/personal/", personal.page, name="personal"),
    path("owner/personal/search/", personal.search, name="personal-search"),
    path("owner/personal/searches/", personal.searches, name="personal-searches"),
    path("owner/personal/<str:reference>/", personal.one, name="personal-one"),
    path("owner/personal/<str:reference>/copy.json", personal.hand_out, name="personal-copy"),
    path("owner/personal/<str:reference>/erase/", personal.erase, name="personal-erase"),
    path("owner/remedies/", remedies.page, name="remedy-evidence"),
    path("owner/repairability/", repairability.page, name="repairability"),
    path("owner/design/", design.page, name="design"),
    path("owner/press/", press.page, name="press-plan"),
    path("owner/what-if/", whatif.page, name="what-if"),
    path("owner/sold/", sales.page, name="sold"),
    path("owner/sold/import/", sales.bring_in, name="sold-import"),
    path("owner/sold/template.csv", sales.template, name="sold-template"),
    path("owner/traceability/", tracing.page, name="tracing"),
    path("owner/traceability/events.jsonld", tracing.download, name="tracing-file"),
    path("owner/tokens/", tokens.page, name="tokens"),
    path("owner/tokens/<int:number>/revoke/", tokens.revoke, name="token-revoke"),
]
