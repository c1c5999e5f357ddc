"""Addresses of the customers' pages."""

from __future__ import annotations

from django.urls import URLPattern, URLResolver, path

from returns.asking import pages as asking
from returns.figures.claims.pages import public as claims
from returns.figures.method import pages as method
from returns.filing.pages import filing, reading
from returns.goods.pages import public as goods
from returns.partners.pages import public as partner_pages
from returns.story.pages import find, reaching, story
from returns.tracing import pages as tracing

urlpatterns: list[URLPattern | URLResolver] = [
    path("", filing.start, name="start"),
    path("ask/screws/", filing.ask_screws, name="ask-screws"),
    path("ask/return/", filing.ask_return, name="ask-return"),
    path("ask/photo/<uuid:form>/<str:file_name>/", story.draft_photo, name="ask-photo"),
    path("claims/", claims.page, name="public-claims"),
    path("claims/claims.json", claims.data, name="public-claims-data"),
    path("find/", find.find, name="find"),
    path("goods/<str:secret>/", goods.page, name="goods-told"),
    path("guide/<slug:model>/", reading.guide, name="guide"),
    path("imprint/", reading.imprint, name="imprint"),
    path("logo/<slug:digest>.png", reading.logo, name="logo"),
    path("method/", method.page, name="method"),
    path("notice/", reading.notice, name="notice"),
    path("photo/<str:file_name>/", story.photo, name="photo"),
    path("slip/<str:secret>/", partner_pages.slip, name="slip-filing"),
    path("partner/<str:secret>/", partner_pages.partner, name="partner"),
    path("traceability/", tracing.words, name="tracing-words"),
    path("story/<str:secret>/", story.story, name="story"),
    path("story/<str:secret>/slip.pdf", story.slip, name="slip"),
    path("story/<str:secret>/photo/<str:file_name>/", story.story_photo, name="story-photo"),
    path("story/<str:secret>/withdraw/", story.withdraw, name="story-withdraw"),
    path("story/<str:secret>/address/", story.address, name="story-address"),
    path("story/<str:secret>/posted/", reaching.posted, name="story-posted"),
    path("story/<str:secret>/wake/", reaching.wake, name="story-wake"),
    path("story/<str:secret>/email/", reaching.email, name="story-email"),
    path("story/<str:secret>/again/", reaching.again, name="story-again"),
    path("story/<str:secret>/another/", filing.another, name="story-another"),
    path("story/<str:secret>/missing/", story.missing, name="story-missing"),
    path("story/<str:secret>/question/<int:number>/", asking.answer, name="story-answer"),
]
