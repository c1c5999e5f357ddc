"""The wording rule is constructed from the consumer-law summaries; local law decides."""

from __future__ import annotations

import pytest

from returns.figures.claims.sums import broad_words
from returns.figures.claims.sums.claims import (
    SENTENCES,
    InputRefused,
    NotEnoughEvidence,
    Subject,
    Verdict,
    judge,
    refuse_broad_words,
)

SUBJECT = {
    "scope": "PP in front and temples",
    "basis": "average of batches moulded, controlled blending",
    "period": "October 2026",
    "method": "ISO 14021 mass share",
    "excludes": ("screws", "lenses"),
}


def subject(**changes):
    return Subject(**{**SUBJECT, **changes})


def judged(**changes):
    fields = {
        "key": "take_back_rate",
        "subject": subject(),
        "figure_percent": 12.5,
        "interval_percent": (9.0, 17.0),
        "evidence": 200,
        "evidence_min": 30,
    }
    return judge(**{**fields, **changes})


@pytest.mark.parametrize(
    ("evidence", "verdict"),
    [
        (29, Verdict.NOT_ENOUGH_EVIDENCE),
        (30, Verdict.PUBLISHABLE),
        (31, Verdict.PUBLISHABLE),
    ],
)
def test_the_smallest_count_decides_whether_a_figure_leaves(evidence, verdict):
    assert judged(evidence=evidence).verdict is verdict


@pytest.mark.parametrize(
    ("width_max", "verdict"),
    [
        (7.9, Verdict.NOT_ENOUGH_EVIDENCE),
        (8.0, Verdict.PUBLISHABLE),
        (8.1, Verdict.PUBLISHABLE),
    ],
)
def test_an_interval_wider_than_allowed_withholds_the_figure(width_max, verdict):
    assert judged(width_percent_max=width_max).verdict is verdict


def test_a_withheld_claim_holds_no_figure_anywhere():
    claim = judged(evidence=3)
    assert claim.figure_percent is None
    assert claim.interval_percent is None
    assert "12.5" not in claim.sentence
    assert claim.params["figure"] == ""
    assert "3 of 30 needed" in claim.sentence


def test_a_published_sentence_says_share_basis_period_and_what_is_left_out():
    sentence = judged().sentence
    for words in ("12.5 %", "9.0 to 17.0", SUBJECT["basis"], SUBJECT["period"], "screws, lenses"):
        assert words in sentence


@pytest.mark.parametrize(
    ("limits", "words"),
    [
        ((98.14, 98.2), "range 98.1 to 98.2 %"),
        ((98.16, 98.24), "less than ± 0.1 percentage points"),
    ],
)
def test_a_range_whose_limits_read_the_same_is_told_in_words(limits, words):
    data = judged(key="recovery_yield", figure_percent=98.2, interval_percent=limits)
    assert f"({words})" in data.sentence


@pytest.mark.parametrize("key", sorted(SENTENCES))
def test_no_sentence_of_ours_uses_a_broad_word_or_drops_scope_or_period(key):
    refuse_broad_words(SENTENCES[key])
    assert "%(scope)s" in SENTENCES[key]
    assert "%(period)s" in SENTENCES[key]


@pytest.mark.parametrize(
    "text",
    [
        "Circular frames",
        "our circularity score",
        "eco frames",
        "Eco-friendly",
        "climate neutral",
        "CO2-neutral",
        "sustainable",
        "net zero",
        "net-zero",
        "kind to the environment",
        "good for the planet",
        "Green frames, moss colourway",
        "a greener pair",
        "biodegradable",
        "bio-based",
        "CO₂-neutral",
        "umweltfreundlich",
        "Umweltfreundliche Fassungen",
        "nachhaltig",
        "nachhaltiger",
        "klimaneutral",
        "Treibhausgasneutrale Fassungen",
        "grün",
        "die grüne Fassung",
        "GRÜNES PLASTIK",
        "gru\u0308n",
        "nach\u00adhaltig",
        "ökologisch",
        "Öko-Fassungen",
        "Kreislaufwirtschaft",
        "biologisch abbaubar",
    ],
)
def test_broad_words_are_refused(text):
    with pytest.raises(InputRefused):
        refuse_broad_words(text)
    with pytest.raises(InputRefused):
        subject(scope=text)


@pytest.mark.parametrize(
    "text",
    [
        "Moss green frames",
        "Frames in dark green",
        "green colourway",
        "Greenshank",
        "second-hand",
        "decorated",
        "Fassungen in Grün",
        "dunkelgrüne Fassungen",
        "Grünschenkel",
        "begründet",
        "Fassungen mit grüner Farbe",
    ],
)
def test_plain_words_pass(text):
    refuse_broad_words(text)
    assert subject(scope=text).scope == text


@pytest.mark.parametrize("missing", ["scope", "basis", "period", "method"])
def test_a_claim_without_its_frame_is_refused(missing):
    with pytest.raises(InputRefused, match=missing):
        subject(**{missing: " "})


@pytest.mark.parametrize("excludes", [(), ("",)])
def test_a_claim_that_says_nothing_of_what_it_leaves_out_is_refused(excludes):
    with pytest.raises(InputRefused, match="does not cover"):
        subject(excludes=excludes)


@pytest.mark.parametrize(
    "changes",
    [
        {"key": "everything"},
        {"key": "not_enough_evidence"},
        {"evidence_min": 0},
        {"interval_percent": None},
        {"interval_percent": (13.0, 17.0)},
        {"figure_percent": 100.1, "interval_percent": (90.0, 100.2)},
        {"figure_percent": float("nan")},
    ],
)
def test_unusable_input_to_a_judgement_is_refused(changes):
    with pytest.raises(InputRefused):
        judged(**changes)


def test_recycled_content_needs_no_interval():
    claim = judged(key="recycled_content", interval_percent=None, figure_percent=85.0)
    assert "85.0 % post-consumer recycled by mass" in claim.sentence


def test_thin_evidence_error_says_what_was_seen_and_what_is_needed():
    error = NotEnoughEvidence(of="failures", have=2, need=5)
    assert error.code == "not_enough_evidence"
    assert (error.have, error.need) == (2, 5)
    assert "2 failures seen, 5 needed" in str(error)


def test_a_language_has_a_list_by_its_first_part_or_none():
    assert broad_words.has_list("de")
    assert broad_words.has_list("de-at")
    assert broad_words.has_list("en_GB")
    assert not broad_words.has_list("sv")


def test_a_refusal_is_a_key_with_its_figures_for_the_translator():
    with pytest.raises(InputRefused) as refused:
        refuse_broad_words("Nachhaltige Fassungen")
    assert refused.value.figures == {"word": "Nachhaltige"}
    assert "%(word)s" in refused.value.template
    assert "Nachhaltige" in str(refused.value)
