"""What the sums refuse reaches a page through the translation, and with its figures filled in."""

from __future__ import annotations

import pytest
from django.utils import translation

from returns.figures.circularity.queries import judged
from returns.figures.circularity.queries.circularity import circularity
from returns.figures.circularity.queries.judged import Judged
from returns.figures.circularity.sums.circularity import ShareInterval, counted_share
from returns.figures.claims.queries import claims_sheet
from returns.figures.span.queries import Scope, Span
from tests.makers import NOON, Shop


@pytest.fixture
def translated(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(judged, "gettext", lambda key: f"<{key}>")


def refused() -> ShareInterval:
    return counted_share(count=7, of=3)


@pytest.mark.usefixtures("translated")
def test_the_key_is_translated_before_it_is_filled() -> None:
    missing = Judged.of(refused).missing
    assert missing is not None
    assert missing.reason == "<The count must lie between 0 and 3.>"


@pytest.mark.django_db
@pytest.mark.usefixtures("translated")
def test_a_model_with_a_broad_name_is_refused_in_the_readers_words(shop: Shop) -> None:
    shop.avocet.name = "Eco 100 %"
    figures = circularity(Span.of_year_before(NOON), Scope(shop.avocet))
    line = claims_sheet.sheet(figures)[0]
    assert line.claim is None
    assert line.refused.startswith("<The word “Eco” claims more")


@pytest.mark.django_db
def test_a_translated_sentence_may_not_say_more_than_its_original(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(claims_sheet, "_", lambda text: text.replace("not enough", "nachhaltig"))
    lines = claims_sheet.sheet(circularity(Span.of_year_before(NOON), Scope(shop.avocet)))
    assert all("nachhaltig" in line.refused for line in lines)


def test_a_language_without_a_list_of_broad_words_is_known() -> None:
    with translation.override("de"):
        assert claims_sheet.has_word_list()
    with translation.override("sv"):
        assert not claims_sheet.has_word_list()
