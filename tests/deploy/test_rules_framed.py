"""Every rule that takes a caller's key stands in the frame, and asks for all that it is told."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path
from typing import Final

import pytest
from django.conf import settings

ROOT: Final = Path(settings.BASE_DIR)
FRAMES: Final = {"events.rule", "ledger.rule"}
HANDS_ON: Final = {
    # What hands its key on, in one transaction, to a rule that stands in the frame.
    "intake.file_return": "_file_return",
    "intake.ask_screws": "_ask_screws",
    "arriving.take_in": "weigh_in",
    "finishing.finish": "mending.check",
    "intake.report_missing": "_report_missing",
    "counter.take_in": "_take_in",
    "partners.file": "_file",
    "receiving.receive_parts": "stock.receive",
    "regrind.finish": "grinding.finish",
    "regrind.explain": "grinding.explain",
}
OTHERWISE: Final = {
    "ledger.post": "its movement is the record, and its own guard locks first",
    "ledger.reverse": "its movement is the record",
    "events.record": "writes the event of what has no caller's key",
    "pdf_files.ask": "the file that was asked for is the record",
    "twins.of": "reads only",
    "arriving.book_box": "part of a rule: the parcel of a partner's box",
    "carrying.carry": "part of a rule: derives the movement's key from the rule's",
    "fitting.fit": "part of a rule: derives the movements' keys from the rule's",
    "mending.settle_scale": "part of a rule: derives the movement's key from the rule's",
}


def functions() -> Iterator[tuple[str, ast.FunctionDef]]:
    """Every function of the two rooms, by `module.function`; rules in one file by their story."""
    for room in ("inventory", "returns"):
        for path in sorted((ROOT / room).rglob("*.py")):
            tree = ast.parse(path.read_text(encoding="utf-8"))
            for node in tree.body:
                if isinstance(node, ast.FunctionDef):
                    name = path.parent.name if path.stem == "rules" else path.stem
                    yield f"{name}.{node.name}", node


def takes_key(node: ast.FunctionDef) -> bool:
    words = {one.arg: one.annotation for one in node.args.kwonlyargs}
    return ast.unparse(words.get("key") or ast.Constant(None)) in ("UUID", "uuid.UUID")


def is_framed(node: ast.FunctionDef) -> bool:
    frames = (one.func for one in node.decorator_list if isinstance(one, ast.Call))
    return any(ast.unparse(frame) in FRAMES for frame in frames)


def is_bare(name: str, node: ast.FunctionDef) -> bool:
    """A public rule outside the frame that no list here speaks of."""
    if node.name.startswith("_") or not takes_key(node) or is_framed(node):
        return False
    return name not in HANDS_ON | OTHERWISE


def test_every_public_rule_that_takes_a_key_stands_in_the_frame() -> None:
    bare = [name for name, node in functions() if is_bare(name, node)]
    assert bare == []
    assert sum(is_framed(node) for _name, node in functions()) > 50


@pytest.mark.parametrize(
    ("head", "is_one"),
    [
        ("def mend(*, key: UUID, frame): ...", True),
        ("@transaction.atomic\ndef mend(*, key: UUID, frame): ...", True),
        ("@events.rule('x')\ndef mend(event, /, *, key: UUID, frame): ...", False),
        ("@ledger.rule(facts=f)\ndef mend(*, key: UUID, part): ...", False),
        ("def _mend(*, key: UUID, frame): ...", False),
        ("def mend(*, frame): ...", False),
        ("def mend(*, key: str): ...", False),
    ],
)
def test_a_rule_outside_the_frame_is_found(head: str, is_one: bool) -> None:
    node = ast.parse(head).body[0]
    assert isinstance(node, ast.FunctionDef)
    assert is_bare("mending.mend", node) is is_one


def test_what_hands_its_key_on_hands_it_to_a_rule_in_the_frame() -> None:
    known = dict(functions())
    for name, target in HANDS_ON.items():
        calls = [one for one in ast.walk(known[name]) if isinstance(one, ast.Call)]
        handed = [
            ast.unparse(word.value)
            for one in calls
            for word in one.keywords
            if ast.unparse(one.func) == target and word.arg == "key"
        ]
        full = target if "." in target else f"{name.partition('.')[0]}.{target}"
        full = full.replace("stock.", "parts.")  # the stock of parts, as its callers name it
        assert handed == ["key"], name
        assert is_framed(known[full]), full


def test_lists_speak_of_rules_that_there_are_and_that_need_them() -> None:
    known = dict(functions())
    for name in HANDS_ON | OTHERWISE:
        assert takes_key(known[name]), name
        assert not is_framed(known[name]), name


def test_no_two_rules_in_the_frame_write_events_of_one_name() -> None:
    """But for material that comes in: its facts begin with the kind of movement."""
    names = [
        ast.unparse(call.args[0])
        for _name, node in functions()
        if is_framed(node)
        for call in node.decorator_list
        if isinstance(call, ast.Call) and call.args
    ]
    twice = {name for name in names if names.count(name) > 1}
    assert twice == {"'material.into_box'", "'material.as_lot'"}


def told_in_facts(kind: ast.ClassDef) -> tuple[set[str], set[str]]:
    """The fields of a class, and what its `facts()` says of itself, by its own methods too."""
    methods = {one.name: one for one in kind.body if isinstance(one, ast.FunctionDef)}
    fields = {
        one.target.id
        for one in kind.body
        if isinstance(one, ast.AnnAssign) and isinstance(one.target, ast.Name)
    }
    data, waiting = set[str](), ["facts"]
    while waiting:
        for node in ast.walk(methods[waiting.pop()]):
            if isinstance(node, ast.Attribute) and ast.unparse(node.value) == "self":
                waiting += [node.attr] if node.attr in methods else []
                data.add(node.attr)
    return fields, data


def asked_of_rules() -> Iterator[ast.ClassDef]:
    """The plain values whose `facts()` goes into a fingerprint."""
    for room in ("inventory", "returns"):
        for path in sorted((ROOT / room).rglob("*.py")):
            for kind in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                if not isinstance(kind, ast.ClassDef) or kind.bases:
                    continue
                methods = {one.name for one in kind.body if isinstance(one, ast.FunctionDef)}
                frozen = any("dataclass" in ast.unparse(one) for one in kind.decorator_list)
                if frozen and "facts" in methods:
                    yield kind


def test_facts_of_what_a_rule_is_told_leave_no_field_out() -> None:
    found = {kind.name: told_in_facts(kind) for kind in asked_of_rules()}
    assert {name: sorted(fields - data) for name, (fields, data) in found.items()} == {
        name: []
        for name in (
            "AskedFrame",
            "Differing",
            "Goods",
            "GrindOut",
            "Heap",
            "Look",
            "Match",
            "Material",
            "Net",
            "NewRecipe",
            "Sorted",
            "TakenOut",
            "NewColourway",
            "NewModel",
            "PartIn",
            "ScrapHeap",
            "Settings",
            "StripDown",
            "WeighIn",
            "Wanted",
            "Weighing",
            "What",
        )
    }
