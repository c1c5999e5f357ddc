"""Follows the product's calls from where people and machines come in, by its syntax trees.

A step goes from a definition to what its body names: functions, classes and constants through
imports; methods and fields by their name alone, for a tree does not tell what an object is. So a
method may pass for reached because a namesake is, but a function never does.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

# Where people, machines and the clock come in, by a part of the path. Templates call the tags, and
# the framework what its settings and apps name.
EDGES = {"pages", "api", "management", "commands", "letters", "tasks", "admin", "templatetags"}
EDGES |= {"settings", "apps"}
# The invented year and the rehearsal use the product as a test does: they are no reason for it.
LEFT_OUT = {"migrations", "demo", "rehearsal", "scenario"}

_FUNCTION = (ast.FunctionDef, ast.AsyncFunctionDef)
_PATH = re.compile(r"[A-Za-z_]\w*(?:\.[A-Za-z_]\w*)*")
_IN_TEMPLATE = re.compile(r"\.([a-z_]\w*)")

Place = tuple[str, str]  # A module and a name in it: `function`, `Class`, `Class.method`, or "".


@dataclass(slots=True)
class Module:
    """One file: the trees under each name of its body, and what it imported from where."""

    parts: set[str]
    bodies: dict[str, list[ast.AST]] = field(default_factory=dict)
    imported: dict[str, Place] = field(default_factory=dict)

    @property
    def is_edge(self) -> bool:
        return bool(self.parts & EDGES)

    @property
    def holds_sums(self) -> bool:
        return "sums" in self.parts


def read(root: Path, rooms: Iterable[str]) -> dict[str, Module]:
    """Return each module of the rooms by its dotted name."""
    found = {}
    for path in sorted(path for room in rooms for path in (root / room).rglob("*.py")):
        parts = path.relative_to(root).with_suffix("").parts
        if not LEFT_OUT & {*parts}:
            name = ".".join(parts[:-1] if parts[-1] == "__init__" else parts)
            found[name] = _module({*parts}, ast.parse(path.read_text(encoding="utf-8")))
    return found


def _module(parts: set[str], tree: ast.Module) -> Module:
    module = Module(parts)
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom):
            module.imported |= {
                alias.asname or alias.name: (node.module or "", alias.name) for alias in node.names
            }
    for statement in tree.body:
        for name, trees in _defined(statement):
            # A property and its setter share a name, and so do two branches.
            module.bodies.setdefault(name, []).extend(trees)
    return module


def _defined(statement: ast.stmt) -> Iterator[tuple[str, list[ast.AST]]]:
    """Yield each name that a statement of a module's body gives, with what runs under it."""
    if isinstance(statement, ast.ClassDef):
        rest = [inner for inner in statement.body if not isinstance(inner, _FUNCTION)]
        keywords = [keyword.value for keyword in statement.keywords]
        yield statement.name, [*statement.bases, *statement.decorator_list, *keywords, *rest]
        for inner in statement.body:
            if isinstance(inner, _FUNCTION):
                yield f"{statement.name}.{inner.name}", [inner]
    elif isinstance(statement, _FUNCTION):
        yield statement.name, [statement]
    elif not isinstance(statement, ast.Import | ast.ImportFrom):
        for name in _assigned(statement):
            yield name, [statement]


def _assigned(statement: ast.stmt) -> list[str]:
    """Return the names that a statement gives; "" for one that only does something."""
    if isinstance(statement, ast.Assign):
        targets = statement.targets
    elif isinstance(statement, ast.AnnAssign):
        targets = [statement.target]
    else:
        return [""]
    return [node.id for one in targets for node in ast.walk(one) if isinstance(node, ast.Name)]


class Replay:
    """One walk over the modules; `reached` is where it came by."""

    def __init__(self, modules: dict[str, Module], *, asked: Iterable[str] = ()) -> None:
        self.modules = modules
        self.asked = {*asked}
        self.reached: set[Place] = set()
        self._new: list[Place] = []
        for name, module in modules.items():
            if module.is_edge:
                for inner in module.bodies:
                    self._reach((name, inner))
        self._follow()

    def unreached_sums(self) -> list[str]:
        """Return the public functions, classes and methods of the sums that nobody asks for."""
        return sorted(
            f"{name}.{inner}"
            for name, module in self.modules.items()
            if module.holds_sums
            for inner, trees in module.bodies.items()
            if inner and not any(part.startswith("_") for part in inner.split("."))
            if not all(isinstance(tree, ast.Assign | ast.AnnAssign) for tree in trees)
            if (name, inner) not in self.reached
        )

    def _follow(self) -> None:
        while self._new:
            while self._new:
                name, inner = self._new.pop()
                for tree in self.modules[name].bodies[inner]:
                    self._step(self.modules[name], name, tree)
            # Methods are met last: their class may be reached before or after their name is asked.
            for name, module in self.modules.items():
                for inner in module.bodies:
                    if self._is_asked(name, module, inner):
                        self._reach((name, inner))

    def _is_asked(self, name: str, module: Module, inner: str) -> bool:
        owner, _, method = inner.partition(".")
        if not method or (name, owner) not in self.reached:
            return False
        # What is no sum is often called by its framework, so its class answers for its methods.
        return not module.holds_sums or method.startswith("__") or method in self.asked

    def _step(self, module: Module, name: str, tree: ast.AST) -> None:
        for node in ast.walk(tree):
            if isinstance(node, ast.Name):
                self._reach(self._found(name, node.id))
            elif isinstance(node, ast.Attribute):
                self.asked.add(node.attr)
                if isinstance(node.value, ast.Name):
                    self._reach(self._found(self._as_module(name, node.value.id), node.attr))
            elif isinstance(node, ast.Constant) and isinstance(node.value, str):
                self._read(module, node.value)
            elif isinstance(node, ast.Assign | ast.AnnAssign) and "api" in module.parts:
                # A field of a serializer reads what is called like it.
                self.asked.update(_assigned(node))

    def _read(self, module: Module, text: str) -> None:
        """Take a serializer's source or a table's column for asked, a handler's path for called."""
        if _PATH.fullmatch(text):
            self.asked.update(text.split("."))
            if "settings" in module.parts:
                before, _, last = text.rpartition(".")
                self._reach((before, last))

    def _as_module(self, name: str, word: str) -> str:
        source, inner = self.modules[name].imported.get(word, ("", ""))
        return f"{source}.{inner}"

    def _found(self, name: str, word: str) -> Place:
        """Return where a word of a module is defined, through whatever passes it on."""
        while name in self.modules and word not in self.modules[name].bodies:
            if word not in self.modules[name].imported:
                break
            name, word = self.modules[name].imported[word]
        return name, word

    def _reach(self, place: Place) -> None:
        name, inner = place
        if name in self.modules and inner in self.modules[name].bodies:
            for one in (place, (name, "")):
                if one not in self.reached and one[1] in self.modules[name].bodies:
                    self.reached.add(one)
                    self._new.append(one)


def asked_by_templates(root: Path, rooms: Iterable[str]) -> Iterator[str]:
    """Yield what the templates ask of objects: `{{ fit.mean }}` asks for `mean`."""
    for room in rooms:
        for path in (root / room).rglob("templates/**/*.*"):
            for found in re.findall(r"\{[{%].*?[%}]\}", path.read_text(encoding="utf-8")):
                yield from _IN_TEMPLATE.findall(found)
