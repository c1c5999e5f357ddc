"""What German changes beside the words: the decimal sign, and sentences that sums give as keys."""

from __future__ import annotations

import pytest
from django.utils import translation

from inventory.furniture.numbers import fixed
from returns.figures.claims.queries.claims_sheet import words
from returns.figures.claims.sums.claims import Claim, Subject, Verdict
from returns.grading.pages import wording


@pytest.mark.parametrize(("language", "shown"), [("en", "1\u202f234.5"), ("de", "1\u202f234,5")])
def test_figures_have_the_decimal_sign_of_the_language(language: str, shown: str) -> None:
    with translation.override(language):
        assert fixed(1234.46, 1) == shown


@pytest.mark.parametrize(("language", "shown"), [("en", "1.3 %"), ("de", "1,3 %")])
def test_a_kept_reason_has_the_decimal_sign_of_the_language(language: str, shown: str) -> None:
    with translation.override(language):
        data = wording.reason({"key": "odds-tip", "params": {"odds_percent": "1.3"}})
    assert shown in data


@pytest.mark.parametrize(("language", "shown"), [("en", "87.5"), ("de", "87,5")])
def test_a_public_sentence_has_the_decimal_sign_of_the_language(language: str, shown: str) -> None:
    claim = Claim(
        key="repair_share",
        verdict=Verdict.PUBLISHABLE,
        subject=Subject(scope="a", basis="b", period="c", method="d", excludes=("e",)),
        figure_percent=87.5,
        interval_percent=None,
        evidence=40,
        needed=30,
    )
    with translation.override(language):
        assert words(claim)["figure"] == shown
