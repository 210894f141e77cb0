"""Which names code uses, as far as reading it tells: imports are followed to where a name is defined.

A name that a function gives to something of its own is taken for the module's: rather too much counts as used
than too little.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

Definition = ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef


def dotted(path: Path, root: Path) -> str:
    """The name under which the file is imported."""
    parts = path.relative_to(root).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


@dataclass(frozen=True)
class Module:
    name: str
    tree: ast.Module

    @cached_property
    def given(self) -> Mapping[str, str]:
        """What each name of the module stands for: what was imported under it, or what it defines."""
        given = {}
        for node in ast.walk(self.tree):
            if isinstance(node, ast.ImportFrom):
                given |= {one.asname or one.name: f"{node.module}.{one.name}" for one in node.names}
            elif isinstance(node, ast.Import):
                given |= {one.asname: one.name for one in node.names if one.asname}
                given |= {one.name.split(".")[0]: one.name.split(".")[0] for one in node.names}
        for node in self.tree.body:
            targets = node.targets if isinstance(node, ast.Assign) else []
            given |= {one.id: f"{self.name}.{one.id}" for one in targets if isinstance(one, ast.Name)}
        return given | {one.name: f"{self.name}.{one.name}" for one in self.definitions}

    @property
    def definitions(self) -> Iterator[Definition]:
        """Functions and classes at the top of the module."""
        yield from (node for node in self.tree.body if isinstance(node, Definition))


class Code:
    """The modules of some folders, by the name under which each is imported."""

    def __init__(self, sources: Mapping[str, str]) -> None:
        self.modules = {name: Module(name, ast.parse(source)) for name, source in sources.items()}

    @classmethod
    def below(cls, root: Path, *folders: str) -> Code:
        paths = (path for folder in folders for path in sorted((root / folder).rglob("*.py")))
        return cls({dotted(path, root): path.read_text() for path in paths if "migrations" not in path.parts})

    def home(self, name: str) -> str:
        """Where what is imported as `name` is defined; a name handed on by a module is followed."""
        seen: set[str] = set()
        while name not in seen:
            seen.add(name)
            outer, _, last = name.rpartition(".")
            if name not in self.modules and outer in self.modules:
                name = self.modules[outer].given.get(last, name)
        return name

    def used(self, module: Module, within: ast.AST) -> set[str]:
        """The homes of all names that the code within uses, with those of the attributes taken from them."""
        found = set()
        for node in ast.walk(within):
            if isinstance(node, ast.Name | ast.Attribute):
                chain = ast.unparse(node).split(".")
                if chain[0] in module.given:
                    found.add(self.home(".".join([self.home(module.given[chain[0]]), *chain[1:]])))
            elif isinstance(node, ast.ImportFrom):
                found |= {self.home(f"{node.module}.{one.name}") for one in node.names}
        return found
