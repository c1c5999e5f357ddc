"""Models and bills of materials from a list."""

from __future__ import annotations

from collections import deque
from pathlib import Path
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.db import connections

from inventory.errors import BadInput
from inventory.models import Colour, Event
from returns.catalogue.rules import catalogue_import, csvlists
from returns.models import Component, FrameModel
from tests.makers import NOON, Shop, key

pytestmark = pytest.mark.django_db

EXAMPLE = Path(__file__).parents[3] / "fixtures" / "imports" / "models.csv"
GOOD = {
    "model": "knot",
    "name": "Knot",
    "new_frame_cost_minor": "1300",
    "component": "front",
    "kind": "front",
    "nominal_mg": "9000",
    "spread_mg": "90",
    "frame_material": "yes",
    "expected_life_months": "",
    "part": "",
    "in_kit": "",
    "wall_um": "",
    "rim": "",
    "polymer": "",
    "colours": "",
    "differs": "",
}


def lines(*rows: dict[str, str]) -> list[csvlists.Line]:
    return [csvlists.Line(number, GOOD | row) for number, row in enumerate(rows, start=2)]


def why(*rows: dict[str, str]) -> list[str]:
    return [f"{one.line}: {one.why}" for one in catalogue_import.check(lines(*rows)).rejected]


def test_the_example_list_is_brought_in_whole(shop: Shop, olga: User) -> None:
    rows = catalogue_import.read(EXAMPLE.read_bytes())
    done = catalogue_import.bring_in(key=key(), lines=rows, at=NOON, by=olga)
    assert (done.new, done.replacing, done.rejected) == (("knot",), (), ())
    knot = FrameModel.objects.get(code="knot")
    assert (knot.name, knot.new_frame_cost_minor, knot.expected_life_months) == ("Knot", 1300, 24)
    assert knot.components.count() == 7
    screw = knot.components.get(key="screw_left")
    assert (screw.part, screw.in_kit, screw.wall_um) == (shop.screw, True, None)


def test_a_list_may_say_the_shape_of_the_rims_and_leaves_it_as_it_is_where_it_does_not(
    shop: Shop, olga: User
) -> None:
    def brought(rim: str) -> str:
        facts = {"at": NOON, "by": olga, "replace": "confirmed"}
        catalogue_import.bring_in(key=key(), lines=lines({"rim": rim}), **facts)
        return FrameModel.objects.get(code="knot").rim

    assert [brought(rim) for rim in ("", "Round", "", "rectangular")] == [
        *("panto", "round", "round", "rectangular")
    ]
    assert "must be one of: round, panto, rectangular" in why({"rim": "square"})[0]


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ({"model": ""}, "code has up to 30"),
        ({"model": "a b"}, "code has up to 30"),
        ({"model": "x" * 31}, "code has up to 30"),
        ({"name": ""}, "1 to 60"),
        ({"name": "x" * 61}, "1 to 60"),
        ({"component": "wing"}, "component must be one of: front"),
        ({"kind": "wing"}, "kind must be one of: front"),
        ({"nominal_mg": "0"}, "nominal_mg must be a whole number from 1"),
        ({"nominal_mg": "9.5"}, "nominal_mg must be a whole number"),
        ({"nominal_mg": "2000000001"}, "nominal_mg must be a whole number"),
        ({"spread_mg": "9000"}, "spread is smaller"),
        ({"frame_material": "perhaps"}, "frame_material must be yes or no"),
        ({"part": "no-such"}, "no part “no-such”"),
        ({"in_kit": "yes"}, "needs its spare part"),
        ({"new_frame_cost_minor": "13,00"}, "without point or comma"),
        ({"colours": "slate mauve"}, "no colour “mauve”. Known: moss, slate."),
        ({"colours": "slate", "polymer": "PA"}, "no polymer “PA”. Known: PP."),
        ({"model": "example"}, "template's example"),
        ({"wall_um": "0"}, "wall_um must be a whole number from 1"),
        ({"frame_material": "no"}, "No component of this model is frame material"),
    ],
)
def test_each_bad_row_says_why(shop: Shop, row: dict[str, str], words: str) -> None:
    assert len(why(row)) == 1
    assert words in why(row)[0]


def test_a_component_twice_and_a_model_told_otherwise_name_the_first_line(shop: Shop) -> None:
    found = why({}, {}, {"component": "bridge", "name": "Other"})
    assert found[0] == "3: This component stands in line 2 already."
    assert found[1].startswith("4: The model is told otherwise in line 2")


def test_one_bad_row_stops_the_whole_list(shop: Shop, olga: User) -> None:
    rows = lines({}, {"component": "bridge", "spread_mg": "-1"})
    with pytest.raises(BadInput, match="Line 3"):
        catalogue_import.bring_in(key=key(), lines=rows, at=NOON, by=olga)
    assert not FrameModel.objects.filter(code="knot").exists()


def test_a_known_model_changes_only_when_confirmed(shop: Shop, olga: User) -> None:
    rows = lines({"model": "AVOCET", "name": "Avocet"})
    with pytest.raises(BadInput, match="avocet") as refused:
        catalogue_import.bring_in(key=key(), lines=rows, at=NOON, by=olga)
    assert refused.value.field == "replace"
    assert shop.avocet.components.count() == 7
    same = key()
    for _ in range(2):
        catalogue_import.bring_in(key=same, lines=rows, replace="confirmed", at=NOON, by=olga)
    assert list(Component.objects.values_list("model__code", "key", "nominal_mg")) == [
        ("avocet", "front", 9_000)
    ]
    assert Event.objects.filter(name="catalogue.bring_in").count() == 1


def test_all_that_is_wrong_with_a_row_is_told_at_once_with_its_column(shop: Shop) -> None:
    bad = {"nominal_mg": "9,5", "part": "no-such", "colours": "mauve"}
    found = catalogue_import.check(lines(bad)).rejected
    assert [(one.column, one.given) for one in found] == [
        ("colours", "mauve"),
        ("nominal_mg", "9,5"),
        ("part", "no-such"),
    ]


def test_colours_make_a_model_that_customers_can_choose(shop: Shop, olga: User) -> None:
    rows = lines({"colours": "slate moss"})
    assert catalogue_import.check(rows).colourless == ()
    catalogue_import.bring_in(key=key(), lines=rows, at=NOON, by=olga)
    ways = FrameModel.objects.get(code="knot").colourways.all()
    assert sorted((way.colour.code, way.polymer.code) for way in ways) == [
        ("moss", "PP"),
        ("slate", "PP"),
    ]
    assert catalogue_import.check(lines({"model": "dunlin"})).colourless == ("dunlin",)


def test_colours_of_a_known_model_are_added_and_none_is_lost(shop: Shop, olga: User) -> None:
    rows = lines({"model": "avocet", "name": "Avocet", "colours": "slate"})
    catalogue_import.bring_in(key=key(), lines=rows, replace="confirmed", at=NOON, by=olga)
    assert shop.avocet.colourways.count() == 2


def test_a_trial_shows_cell_by_cell_what_would_change(shop: Shop) -> None:
    rows = lines({"model": "avocet", "name": "Avocet", "new_frame_cost_minor": "1450"})
    data = [
        (one.component, one.column, one.now, one.then)
        for one in catalogue_import.check(rows).changes
    ]
    assert ("front", "nominal_mg", "11200", "9000") in data
    assert ("arm_left", "", "arm_left", "") in data
    assert not [row for row in data if row[1] == "new_frame_cost_minor"]


@pytest.mark.slow
def test_five_thousand_rows_take_few_questions(
    shop: Shop,
    olga: User,
    django_assert_max_num_queries: Any,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    # The framework counts no more than 9,000 of them by itself.
    monkeypatch.setattr(connections["default"], "queries_log", deque(maxlen=20_000))
    keys = ("front", "arm_left", "arm_right", "lens_left", "lens_right")
    data = [{"model": f"m{number}", "component": one} for number in range(1000) for one in keys]
    rows = lines(*data)
    with django_assert_max_num_queries(8):
        assert len(catalogue_import.check(rows).new) == 1000
    # For each model: look, savepoint and insert, its lines in one go, and each in the trail.
    with django_assert_max_num_queries(1000 * 15 + 50):
        catalogue_import.bring_in(key=key(), lines=rows, at=NOON, by=olga)
    assert Component.objects.filter(model__code="m999").count() == 5


@pytest.mark.parametrize(
    "reshape",
    [
        lambda text: "\ufeff" + text.replace("\n", "\r\n"),
        lambda text: text.replace(",", ";"),
        lambda text: "sep=;\r\n" + text.replace(",", ";"),
        lambda text: text.replace(",", "\t"),
        lambda text: (
            "\n\n" + text.upper().replace("KNOT", "knot").replace("SCREW-M14", "screw-m14")
        ),
    ],
    ids=["mark", "semicolon", "sep_line", "tab", "capitals"],
)
def test_lists_as_spreadsheets_write_them_are_read(shop: Shop, reshape: Any) -> None:
    rows = catalogue_import.read(reshape(EXAMPLE.read_text(encoding="utf-8")).encode())
    verdict = catalogue_import.check(rows)
    assert verdict.rejected == ()
    assert verdict.new == ("knot",)


def test_a_header_that_will_not_do_is_repeated(shop: Shop) -> None:
    with pytest.raises(BadInput, match=r"has: model:name\. Columns are parted by comma"):
        catalogue_import.read(b"model:name\nknot:Knot\n")


TWO = {"colours": "slate tideline/moss-arms"}
ARM = {"component": "arm_left", "kind": "arm"} | TWO


def test_a_look_of_two_materials_comes_in_with_its_list(shop: Shop, olga: User) -> None:
    tideline = Colour.objects.create(
        code="tideline", name="Tideline", kind="blend", tolerance_ppm=20_000
    )
    rows = lines(TWO, ARM | {"differs": "tideline/moss-arms=moss"})
    catalogue_import.bring_in(key=key(), lines=rows, at=NOON, by=olga)
    plain, two = FrameModel.objects.get(code="knot").colourways.order_by("colour__code")
    assert (plain.variant, plain.differing.count()) == ("", 0)
    assert (two.colour, two.words) == (tideline, "Tideline, moss arms")
    assert [(one.key, one.colour) for one in two.differing.all()] == [("arm_left", shop.moss)]


@pytest.mark.parametrize("differs", ["slate=moss", "slate/x", "slate/x=moss", "slate/=pink"])
def test_a_look_that_the_list_does_not_name_is_refused(shop: Shop, differs: str) -> None:
    (slip,) = catalogue_import.check(lines({"colours": "slate", "differs": differs})).rejected
    assert slip.column == "differs"
