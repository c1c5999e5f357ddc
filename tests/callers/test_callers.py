"""No sum without a caller: what nobody can reach is neither kept nor claimed."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.callers.walk import Replay, asked_by_templates, read

ROOT = Path(__file__).resolve().parents[2]
ROOMS = ("inventory", "returns", "deploy")

# A small house: a page asks a rule, which asks a sum; the sum's class has a method.
HOUSE = {
    "shop/weighing/sums.py": """
        from dataclasses import dataclass

        @dataclass
        class Mass:
            mg: int

            def doubled(self):
                return 2 * self.mg

        def mass(mg):
            return _checked(mg)

        def _checked(mg):
            return Mass(mg)
        """,
    "shop/weighing/rules.py": """
        from shop.weighing import sums

        def weigh(mg):
            return sums.mass(mg)
        """,
    "shop/weighing/pages/scale.py": """
        from shop.weighing import rules

        def page(request):
            return rules.weigh(1).doubled()
        """,
}


def unreached(tmp_path: Path, **more: str) -> list[str]:
    """What the walk finds in the small house, with files added or replaced."""
    files = HOUSE | {
        name.replace("__", "/").replace("package", "__init__") + ".py": text
        for name, text in more.items()
    }
    for name, text in files.items():
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        lines = text.splitlines()
        path.write_text("\n".join(line.removeprefix(" " * 8) for line in lines), encoding="utf-8")
    asked = asked_by_templates(tmp_path, ["shop"])
    return Replay(read(tmp_path, ["shop"]), asked=asked).unreached_sums()


def test_each_sum_is_reached_from_where_people_and_machines_come_in() -> None:
    walk = Replay(read(ROOT, ROOMS), asked=asked_by_templates(ROOT, ROOMS))
    sums = [module for module in walk.modules.values() if module.holds_sums]
    assert len(sums) > 20
    assert walk.unreached_sums() == [], "wire it in where a person can use it, or delete it"


def test_a_dead_sum_of_the_product_would_be_found(tmp_path: Path) -> None:
    """The real files, with one function more in a module of sums."""
    for room in ROOMS:
        for path in (ROOT / room).rglob("*.py"):
            kept = tmp_path / path.relative_to(ROOT)
            kept.parent.mkdir(parents=True, exist_ok=True)
            kept.write_bytes(path.read_bytes())
    sums = (name for name, one in read(tmp_path, ROOMS).items() if one.holds_sums)
    files = (tmp_path / f"{name.replace('.', '/')}.py" for name in sorted(sums))
    with next(path for path in files if path.is_file()).open("a", encoding="utf-8") as file:
        file.write(
            "\n\ndef critical_share(short: int, over: int) -> float:\n    return short / over\n"
        )
    walk = Replay(read(tmp_path, ROOMS), asked=asked_by_templates(ROOT, ROOMS))
    assert [name.rpartition(".")[2] for name in walk.unreached_sums()] == ["critical_share"]


def test_a_sum_that_a_page_reaches_through_a_rule_is_no_find(tmp_path: Path) -> None:
    assert unreached(tmp_path) == []


def test_a_sum_that_only_another_dead_one_calls_is_found_with_it(tmp_path: Path) -> None:
    dead = "def one(mg):\n    return other(mg)\n\ndef other(mg):\n    return mg\n"
    found = unreached(tmp_path, shop__grading__sums__odds=dead)
    assert found == ["shop.grading.sums.odds.one", "shop.grading.sums.odds.other"]


@pytest.mark.parametrize("caller", ["shop__scenario__story", "shop__weighing__rules2"])
def test_neither_the_demo_nor_a_rule_that_nobody_calls_is_a_reason(
    tmp_path: Path, caller: str
) -> None:
    asks = "from shop.grading.sums.odds import one\n\ndef play():\n    return one(1)\n"
    sums = "def one(mg):\n    return mg\n"
    found = unreached(tmp_path, shop__grading__sums__odds=sums, **{caller: asks})
    assert found == ["shop.grading.sums.odds.one"]


@pytest.mark.parametrize(
    "edge", ["api", "management__commands__weigh", "letters__texts", "tasks", "admin", "pages"]
)
def test_every_edge_is_a_reason_also_through_a_package_that_passes_on(
    tmp_path: Path, edge: str
) -> None:
    asks = "from shop.grading import sums as odds\n\nSHOWN = {1: odds.one}\n"
    more = {
        "shop__grading__sums__package": "from shop.grading.sums.odds import one\n",
        "shop__grading__sums__odds": "def one(mg):\n    return mg\n",
        f"shop__{edge}": asks,
    }
    assert unreached(tmp_path, **more) == []


def test_a_method_needs_somebody_who_asks_for_its_name(tmp_path: Path) -> None:
    page = "from shop.weighing import rules\n\ndef page(request):\n    return rules.weigh(1)\n"
    found = unreached(tmp_path, shop__weighing__pages__scale=page)
    assert found == ["shop.weighing.sums.Mass.doubled"]
    template = tmp_path / "shop" / "templates" / "scale.html"
    template.parent.mkdir(parents=True)
    template.write_text("<p>{{ mass.doubled }}</p>", encoding="utf-8")
    assert unreached(tmp_path, shop__weighing__pages__scale=page) == []
    template.write_text("<p>not .doubled</p>", encoding="utf-8")
    serializer = "class Answer:\n    mg = Field(source='doubled')\n"
    assert unreached(tmp_path, shop__weighing__pages__scale=page, shop__api=serializer) == []
