"""Country names speak the language of the page."""

from __future__ import annotations

from django.utils import translation

from returns.filing.pages.forms import countries, country_name


def test_a_country_is_named_in_the_language_of_the_page() -> None:
    with translation.override("de"):
        assert country_name("DE") == "Deutschland"
        assert ("AT", "Österreich") in countries()
    with translation.override("en"):
        assert country_name("DE") == "Germany"
