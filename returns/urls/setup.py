"""Addresses of the set-up and of the logins."""

from __future__ import annotations

from django.urls import URLPattern, URLResolver, path

from returns.setup.pages import changes, checklist, network, people, recipes

urlpatterns: list[URLPattern | URLResolver] = [
    path("owner/setup/", checklist.page, name="setup"),
    path("owner/setup/<slug:step>/", checklist.one, name="setup-step"),
    path("owner/blends/<slug:code>/", recipes.page, name="recipe"),
    path("authority.crt", network.authority, name="authority"),
    path("owner/changes/", changes.page, name="changes"),
    path("owner/people/", people.page, name="people"),
    path("owner/people/<int:number>/", people.one, name="person"),
    path("owner/people/<int:number>/factor/", people.factor, name="person-factor"),
    path(
        "owner/people/<int:number>/session/<slug:handle>/end/",
        people.end_session,
        name="person-session-end",
    ),
    path("owner/people/<int:number>/password/", people.password, name="person-password"),
    path("owner/people/<int:number>/off/", people.off, name="person-off"),
    path("owner/people/<int:number>/on/", people.on, name="person-on"),
]
