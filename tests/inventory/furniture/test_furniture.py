"""The furniture of the pages: what the tags render, how numbers read, how colours stand out."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from django import forms
from django.contrib.auth.models import AnonymousUser
from django.http import HttpRequest
from django.template import Context, Template
from django.test import RequestFactory
from django.utils import translation
from hypothesis import given
from hypothesis import strategies as st
from pytest_django.asserts import assertHTMLEqual, assertInHTML

from inventory.furniture import wording
from inventory.furniture.pages import frame
from inventory.models import Workshop
from inventory.templatetags import hingeback
from inventory.weighing.sums.traced import MassUncertainty

STATIC = Path(__file__).resolve().parents[3] / "inventory" / "static" / "hingeback"
TEMPLATES = Path(__file__).resolve().parents[3] / "inventory" / "templates"


class LookOver(forms.Form):
    """One field of every family."""

    key = forms.UUIDField(widget=forms.HiddenInput)
    mass = forms.CharField(label="Mass", help_text="As the scale shows it.")
    note = forms.CharField(label="Note", required=False)
    wish = forms.ChoiceField(
        label="Wish", widget=forms.RadioSelect, choices=[("mend", "Mend"), ("grind", "Grind")]
    )
    defects = forms.MultipleChoiceField(
        label="Defects",
        required=False,
        help_text="All that you see.",
        widget=forms.CheckboxSelectMultiple,
        choices=[("snapped", "Snapped"), ("warped", "Warped")],
    )
    sure = forms.BooleanField(label="I looked twice")
    photo = forms.FileField(label="Photo", required=False)


def render(source: str, **facts: Any) -> str:
    return Template("{% load hingeback %}" + source).render(Context(facts))


def test_a_field_ties_label_hint_and_input_together() -> None:
    html = render("{% field form.mass %}", form=LookOver())
    assert '<label for="id_mass">Mass</label>' in html
    assert 'id="id_mass_helptext"' in html
    assert 'aria-describedby="id_mass_helptext"' in html
    assert "has-error" not in html


def test_a_refused_field_names_its_error_to_readers() -> None:
    html = render("{% field form.mass %}", form=LookOver({}))
    assert 'aria-invalid="true"' in html
    assert 'aria-describedby="id_mass_helptext id_mass_error"' in html
    assert 'id="id_mass_error"' in html
    assert "Fill this in." in html


@pytest.mark.parametrize(
    ("name", "words"),
    [("mass", "Fill this in."), ("wish", "Choose one of these."), ("sure", "Tick this to go on.")],
)
def test_a_missing_entry_is_said_as_something_to_do(name: str, words: str) -> None:
    assert hingeback.error_words(LookOver({})[name]) == [words]


def test_a_forms_own_words_for_a_missing_entry_stay() -> None:
    form = LookOver({})
    form.fields["mass"].error_messages["required"] = "Weigh it first."
    assert hingeback.error_words(form["mass"]) == ["Weigh it first."]


def test_a_missing_file_is_asked_for() -> None:
    form = LookOver({})
    form.fields["photo"].required = True
    assert hingeback.error_words(form["photo"]) == ["Choose a file."]


def test_a_field_that_may_stay_empty_says_so() -> None:
    form = LookOver()
    assert "(may stay empty)" in render("{% field form.note %}", form=form)
    assert "(may stay empty)" not in render("{% field form.mass %}", form=form)


@pytest.mark.parametrize(("name", "legend"), [("wish", "Wish"), ("defects", "Defects")])
def test_a_group_of_choices_is_a_fieldset_with_a_legend(name: str, legend: str) -> None:
    html = render("{% field bound %}", bound=LookOver()[name])
    assert html.count("<fieldset") == 1
    assert re.search(rf"<legend>{legend}\b", html)
    assert f'for="id_{name}_0"' in html
    assert f'for="id_{name}"' not in html


def test_a_group_with_errors_describes_itself() -> None:
    html = render("{% field form.wish %}", form=LookOver({}))
    assert re.search(r'<fieldset[^>]*aria-describedby="id_wish_error"', html)


def test_a_single_tick_box_stands_before_its_label() -> None:
    html = render("{% field form.sure %}", form=LookOver())
    assert html.index("<input") < html.index('<label for="id_sure">')
    assert "<fieldset" not in html


def test_further_arguments_become_attributes_of_the_input() -> None:
    html = render('{% field form.mass inputmode="decimal" data_scale="fine" %}', form=LookOver())
    assert 'inputmode="decimal"' in html
    assert 'data-scale="fine"' in html


def test_all_fields_come_in_order_and_the_key_stays_hidden() -> None:
    html = render("{% form_fields form %}", form=LookOver())
    places = [html.index(f'name="{name}"') for name in LookOver.base_fields]
    assert places == sorted(places)
    assert '<input type="hidden" name="key"' in html
    assert 'for="id_key"' not in html


def test_the_error_summary_links_to_what_can_take_the_focus() -> None:
    form = LookOver({})
    form.add_error(None, "The box is full.")
    html = render("{% form_errors form %}", form=form)
    assert 'role="alert"' in html
    assert 'href="#id_mass"' in html
    assert 'href="#id_wish_0"' in html
    assert "<li>The box is full.</li>" in html
    assert "#id_key" not in html


@pytest.mark.parametrize("form", [LookOver(), forms.Form({})])
def test_no_error_summary_without_errors(form: forms.Form) -> None:
    assert render("{% form_errors form %}", form=form).strip() == ""


def test_the_error_summary_escapes_what_a_person_typed() -> None:
    form = forms.Form({})
    form.add_error(None, "<script>alert(1)</script>")
    assert "<script>" not in render("{% form_errors form %}", form=form)


@pytest.mark.parametrize(
    ("kind", "spoken"), [("good", "Done:"), ("warn", "Please note:"), ("bad", "Problem:")]
)
def test_a_notice_says_its_kind_in_words(kind: str, spoken: str) -> None:
    html = render("{% notice kind %}<p>Words</p>{% endnotice %}", kind=kind)
    assertHTMLEqual(
        html,
        f'<div class="notice notice-{kind}">'
        f'<span class="visually-hidden">{spoken} </span><p>Words</p></div>',
    )


def test_a_notice_of_no_known_kind_is_plain() -> None:
    html = render('{% notice "x\\" onload" %}Words{% endnotice %}')
    assertHTMLEqual(html, '<div class="notice notice-plain">Words</div>')


def test_a_notice_escapes_the_variables_in_it() -> None:
    html = render('{% notice "bad" %}{{ typed }}{% endnotice %}', typed="<b>")
    assert "&lt;b&gt;" in html


def test_a_caution_says_the_word() -> None:
    html = render("{% caution %}<p>Unplug it first.</p>{% endcaution %}")
    assertInHTML('<strong class="caution-word">Caution</strong>', html)
    assertInHTML("<p>Unplug it first.</p>", html)
    assert 'role="note"' in html


def test_emptiness_is_said() -> None:
    assert render('{% empty "No parcels today." %}') == '<p class="empty">No parcels today.</p>'


@pytest.mark.parametrize("current", [1, "mend", "Mending"])
def test_the_step_trail_marks_one_step_by_index_key_or_label(current: object) -> None:
    items = [("weigh", "Weighing"), ("mend", "Mending"), ("post", "Posting")]
    html = render("{% steps items current %}", items=items, current=current)
    assert html.count('aria-current="step"') == 1
    assert re.search(r'<li class="step step-current"[^>]*><span>Mending', html)
    assert html.count("(done)") == 1
    assert html.count("step-ahead") == 1


@pytest.mark.parametrize("current", [None, "unknown"])
def test_a_step_trail_without_a_current_step_marks_none(current: object) -> None:
    html = render("{% steps items current %}", items=["a", "b"], current=current)
    assert "aria-current" not in html
    assert html.count("step-ahead") == 2


def test_a_figure_carries_name_unit_and_uncertainty() -> None:
    html = render(
        '{% figure "24.31" "Recovered" "g" known %}', known=MassUncertainty(19_300, readings=1)
    )
    assert "<dt>Recovered</dt>" in html
    assert '<span class="figure-value">24.31</span>' in html
    assert "plus or minus" in html
    assert '<span class="figure-value">–</span>' in render('{% figure None "Recovered" %}')


@pytest.mark.parametrize(
    ("ug", "text"),
    [
        (0, "0.000 g"),
        (1, "0.001 g"),
        (1_000, "0.001 g"),
        (32_100, "0.033 g"),
        (5_774, "0.006 g"),
        (1_234_000, "1.3 g"),
        (1_200_000, "1.2 g"),
        (960_000, "0.96 g"),
        (996_000, "1.00 g"),
        (2_000_000, "2.0 g"),
        (99_100_000, "100 g"),
    ],
)
def test_an_uncertainty_has_two_digits_and_is_rounded_up(ug: int, text: str) -> None:
    assert wording.uncertainty(ug) == text


@pytest.mark.parametrize(
    ("ug", "text"),
    [(1, "0.000001 kg"), (1_662_100, "0.0017 kg"), (1_701_000, "0.0018 kg"), (0, "0.000000 kg")],
)
def test_an_uncertainty_in_kilograms_has_two_digits_too(ug: int, text: str) -> None:
    assert wording.uncertainty_kg(ug) == text


def test_an_uncertainty_under_a_mass_has_its_decimals_and_its_unit() -> None:
    assert "0.033</span>" in render("{% spread_under known %}", known=MassUncertainty(32_100, 0, 1))
    assert "0.033 g</span>" in render(
        '{% spread_under known "g" %}', known=MassUncertainty(32_100, 0, 1)
    )


def test_the_name_of_a_month_is_not_cut_and_nothing_else_is_held_together() -> None:
    data = wording.unbroken("<2025-12 to 2026-11, not 2026-11-28.")
    month = '<span class="nowrap">%s</span>'
    assert data == f"&lt;{month % '2025-12'} to {month % '2026-11'}, not 2026-11-28."


def test_a_mass_says_how_well_it_is_known() -> None:
    flags = ((("1", "past_check"), 1),)
    html = render("{% measured 24310 known %}", known=MassUncertainty(32_100, 0, 1, flags))
    assert "24.31 g" in html
    assert "0.033 g" in html
    assert "(k = 2)" in html
    assert "its check was overdue" in html


def test_a_mass_that_nobody_weighed_says_so_and_shows_no_uncertainty() -> None:
    html = render("{% measured 110 known %}", known=MassUncertainty(0, 110))
    assert "not weighed" in html
    assert "±" not in html
    partly = render("{% measured 24310 known %}", known=MassUncertainty(32_100, 110, 2))
    assert "with 0.11 g not weighed" in partly
    assert "±" in partly


def test_a_figure_of_nought_is_shown() -> None:
    assert '<span class="figure-value">0</span>' in render('{% figure 0 "Recovered" "g" %}')


def test_a_swatch_takes_nothing_but_a_colour() -> None:
    assert 'fill="#4a5560"' in render('{% swatch "#4a5560" %}')
    assert render("{% swatch bad %}", bad='#4a5560"/><script>') == ""


@pytest.mark.parametrize(
    ("mass_mg", "english", "german"),
    [
        (24_310, "24.31 g", "24,31 g"),
        (24_311, "24.311 g", "24,311 g"),
        (0, "0.00 g", "0,00 g"),
        (1, "0.001 g", "0,001 g"),
        (-24_310, "−24.31 g", "−24,31 g"),
        (9_999_990, "9999.99 g", "9999,99 g"),
        (10_000_000, "10\u202f000.00 g", "10\u202f000,00 g"),
        (1_234_567_890, "1\u202f234\u202f567.89 g", "1\u202f234\u202f567,89 g"),
    ],
)
def test_grams_read_in_the_language_of_the_page(mass_mg: int, english: str, german: str) -> None:
    with translation.override("en"):
        assert wording.mass(mass_mg) == english
    with translation.override("de"):
        assert wording.mass(mass_mg) == german


@given(st.integers(min_value=-(10**12), max_value=10**12))
def test_every_mass_shown_is_exact_to_the_milligram(mass_mg: int) -> None:
    for shown in (wording.mass(mass_mg), wording.mass_kg(mass_mg)):
        number, unit = shown.replace("\u202f", "").replace("−", "-").split()
        assert Decimal(number) * {"g": 1000, "kg": 1_000_000}[unit] == mass_mg


@pytest.mark.parametrize(
    ("mass_mg", "shown"),
    [(1_234_000, "1.234 kg"), (24_310, "0.02431 kg"), (0, "0.000 kg"), (1, "0.000001 kg")],
)
def test_kilograms_never_lose_a_milligram(mass_mg: int, shown: str) -> None:
    assert wording.mass_kg(mass_mg) == shown


@pytest.mark.parametrize(
    ("share_ppm", "decimals", "shown"),
    [
        (123_456, 1, "12.3 %"),
        (1_000_000, 1, "100.0 %"),
        (0, 1, "0.0 %"),
        (500, 1, "0.0 %"),
        (501, 1, "0.1 %"),
        (1_500, 1, "0.2 %"),
        (123_456, 0, "12 %"),
        (123_456, 4, "12.3456 %"),
        (-25_000, 1, "−2.5 %"),
    ],
)
def test_shares_read_as_percent(share_ppm: int, decimals: int, shown: str) -> None:
    assert wording.ppm(share_ppm, decimals) == shown


@pytest.mark.parametrize(
    ("z", "english", "german"),
    [(1.959, "1.96", "1,96"), (-0.7, "−0.70", "−0,70"), (-0.004, "0.00", "0,00")],
)
def test_a_score_has_two_decimals_and_a_minus_of_its_own(
    z: float, english: str, german: str
) -> None:
    assert wording.score(z) == english
    with translation.override("de"):
        assert wording.score(z) == german


@pytest.mark.django_db
def test_money_takes_the_workshops_currency_unless_one_is_given() -> None:
    workshop = Workshop.the()
    workshop.currency = "CHF"
    workshop.save()
    assert wording.money(1234) == "12.34 CHF"
    assert wording.money(-5) == "−0.05 CHF"
    assert wording.money(1234, "EUR") == "12.34 EUR"
    with translation.override("de"):
        assert wording.money(1_234_500) == "12\u202f345,00 CHF"


@pytest.mark.django_db
def test_a_page_looks_up_the_currency_once(
    rf: RequestFactory, django_assert_num_queries: Any
) -> None:
    Workshop.the()
    source = "{% load hingeback %}{{ 100|money }} {{ 200|money }}"
    page_context = frame.workshop(rf.get("/"))
    with django_assert_num_queries(1):  # the workshop's row
        Template(source).render(Context(page_context))
    frame._forget()


@pytest.mark.parametrize(
    "show",
    [wording.mass, wording.mass_kg, wording.money, wording.ppm, wording.score],
)
def test_an_absent_figure_is_a_dash_and_a_text_stays_as_it_is(show: Any) -> None:
    assert show(None) == "–"
    assert show("") == ""
    assert show("later") == "later"


def test_moments_read_on_the_workshops_clock() -> None:
    # Clocks in Berlin stand two hours ahead of UTC in October until the 25th, one hour after.
    assert wording.local(datetime(2026, 10, 14, 10, 0, tzinfo=UTC)) == "14 Oct 2026, 12:00"
    assert wording.local(datetime(2026, 10, 31, 23, 30, tzinfo=UTC)) == "1 Nov 2026, 00:30"
    assert wording.local(date(2026, 10, 14)) == "14 Oct 2026"
    assert wording.local(None) == "–"


@pytest.mark.django_db
def test_a_visitor_sees_customer_doors_only(rf: RequestFactory) -> None:
    request = rf.get("/")
    request.user = AnonymousUser()
    labels = {str(door.label) for door in frame.doors(request)}
    assert labels <= {"Ask for help", "Find my request"}


def test_a_door_whose_page_is_missing_is_left_out() -> None:
    assert frame.address("no-such-page") == ""
    assert frame.address("home") == "/desk/"


@pytest.mark.parametrize(
    ("here", "path", "mark"),
    [
        ("/bench/", "/bench/", "page"),
        ("/bench/boxes/", "/bench/", "true"),
        ("/months/", "/bench/", ""),
        ("/find/", "/", ""),
    ],
)
def test_the_door_one_stands_in_is_marked(here: str, path: str, mark: str) -> None:
    assert frame._current(here, path) == mark


def test_roles_are_looked_up_once_a_request(rf: RequestFactory) -> None:
    request: HttpRequest = rf.get("/")
    request._hingeback_roles = frozenset({"bench"})  # type: ignore[attr-defined]
    assert frame.roles(request) == {"bench"}


def test_no_template_holds_inline_style_or_script() -> None:
    # These become a PDF and are never served as a page.
    papers = {"document.html", "practice_mark.html"}
    pages = [path for path in TEMPLATES.rglob("*.html") if path.name not in papers]
    for path in pages:
        text = path.read_text(encoding="utf-8")
        assert not re.search(r"\sstyle\s*=", text), path
        assert "<style" not in text, path
        assert not re.search(r"<script(?![^>]*\ssrc=)", text), path
        assert not re.search(r"\son[a-z]+\s*=\s*[\"']", text), path


def test_only_the_token_file_names_colours() -> None:
    sheet = (STATIC / "hingeback.css").read_text(encoding="utf-8")
    assert re.findall(r"#[0-9a-fA-F]{3,8}\b", sheet) == []
    assert re.findall(r"\b(?:rgb|hsl|oklch)a?\(", sheet) == []


def test_every_token_in_use_is_defined() -> None:
    sheets = "".join(path.read_text(encoding="utf-8") for path in STATIC.glob("*.css"))
    defined = set(re.findall(r"(--[a-z0-9-]+)\s*:", sheets))
    assert set(re.findall(r"var\((--[a-z0-9-]+)", sheets)) <= defined


def themes() -> dict[str, dict[str, str]]:
    """The colour tokens of the light and the dark theme."""
    text = (STATIC / "tokens.css").read_text(encoding="utf-8")
    light, _media, dark = text.partition("@media (prefers-color-scheme: dark)")
    shape = r"--([a-z0-9-]+):\s*(#[0-9a-f]{6})\b"
    return {"light": dict(re.findall(shape, light)), "dark": dict(re.findall(shape, dark))}


def luminance(colour: str) -> float:
    """Relative luminance as WCAG 2.2 defines it, of "#rrggbb"."""
    shares = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [s / 12.92 if s <= 0.04045 else ((s + 0.055) / 1.055) ** 2.4 for s in shares]
    return sum(w * s for w, s in zip((0.2126, 0.7152, 0.0722), linear, strict=True))


def contrast(one: str, other: str) -> float:
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_the_contrast_sum_gives_the_ends_of_the_scale() -> None:
    # Source: Web Content Accessibility Guidelines (WCAG) 2.2 (2023), definition of "contrast
    # ratio": it runs from 1:1 to 21:1. Tag: from memory.
    assert contrast("#ffffff", "#000000") == pytest.approx(21)
    assert contrast("#456789", "#456789") == 1


GROUNDS = ("ground", "surface", "raised")
WASHES = ("reed-wash", "tide-wash", "ochre-wash", "brick-wash")
TEXTS = [
    *[("ink", ground) for ground in GROUNDS + WASHES],
    *[("muted", ground) for ground in GROUNDS + WASHES],
    *[("tide", ground) for ground in GROUNDS + WASHES],
    *[("tide-deep", ground) for ground in (*GROUNDS, *WASHES)],
    *[("reed-deep", ground) for ground in (*GROUNDS, "reed-wash")],
    *[("brick", ground) for ground in (*GROUNDS, "brick-wash")],
    ("ochre", "ochre-wash"),
    *[("on-accent", fill) for fill in ("reed", "reed-deep", "brick", "brick-deep")],
]
EDGES = [
    *[(mark, ground) for mark in ("edge", "focus", "reed", "brick") for ground in GROUNDS],
    ("tide", "tide-wash"),
    ("reed", "reed-wash"),
    ("ochre", "ochre-wash"),
    ("brick", "brick-wash"),
]


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize(("front", "back"), TEXTS)
def test_text_stands_out_from_its_ground(theme: str, front: str, back: str) -> None:
    # Source: WCAG 2.2 (2023), success criterion 1.4.3 Contrast (Minimum), level AA: 4.5:1.
    # Tag: from memory.
    tokens = themes()[theme]
    assert contrast(tokens[front], tokens[back]) >= 4.5


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize(("front", "back"), EDGES)
def test_edges_and_focus_marks_stand_out(theme: str, front: str, back: str) -> None:
    # Source: WCAG 2.2 (2023), success criterion 1.4.11 Non-text Contrast, level AA: 3:1.
    # Tag: from memory.
    tokens = themes()[theme]
    assert contrast(tokens[front], tokens[back]) >= 3


def test_the_dark_theme_renames_every_colour_that_the_light_one_names() -> None:
    both = themes()
    assert set(both["light"]) == set(both["dark"])


def test_targets_are_large_enough_for_gloves() -> None:
    # Source: WCAG 2.2 (2023), success criterion 2.5.5 Target Size (Enhanced): 44 by 44 CSS pixels.
    # Tag: from memory. At the usual 16 px a rem, both sizes reach it.
    sheets = "".join(path.read_text(encoding="utf-8") for path in STATIC.glob("*.css"))
    sizes_rem = [float(size) for size in re.findall(r"--target:\s*([0-9.]+)rem", sheets)]
    assert len(sizes_rem) == 2
    assert min(sizes_rem) * 16 >= 44


@pytest.mark.django_db
def test_an_empty_choice_is_a_word_and_no_row_of_hyphens() -> None:
    class Choosing(forms.Form):
        needed = forms.ModelChoiceField(Workshop.objects.none())
        free = forms.ModelChoiceField(Workshop.objects.none(), required=False)
        own = forms.ModelChoiceField(Workshop.objects.none(), empty_label="none in stock")

    shown = hingeback.form_fields(Choosing())
    assert re.findall(r"<option value=\"\"[^>]*>([^<]*)<", shown) == [
        "choose",
        "none",
        "none in stock",
    ]


@pytest.mark.django_db
def test_a_form_that_saves_nothing_says_so_in_its_own_heading() -> None:
    class Asking(forms.Form):
        name = forms.CharField()

    text = "{% load hingeback %}{% form_errors form %}{% form_errors form 'No link yet:' %}"
    page = Template(text).render(Context({"form": Asking({})}))
    assert re.findall(r"<h2>([^<]*)</h2>", page) == [
        "Not saved yet. Please look at this again:",
        "No link yet:",
    ]
