"""`wearlog.calc` keeps nothing that neither the product nor a published check uses."""

from __future__ import annotations

import ast
import re
from functools import cache
from pathlib import Path

import pytest

from tests.architecture.names import Code, Definition, Module

ROOT = Path(__file__).resolve().parents[2]
CALC = "wearlog.calc"
USERS = ("wearlog", "tests.published", "tests.benchmarks")
"""The product, the checks against sources outside the project, and the comparisons of docs/benchmarks.md."""


def defined_in_calc(code: Code) -> dict[str, tuple[Module, Definition]]:
    """Functions and classes at the top of a module; a name with an underscore is its module's own affair."""
    return {
        f"{module.name}.{node.name}": (module, node)
        for module in code.modules.values()
        if is_calc(module)
        for node in module.definitions
    }


def is_calc(module: Module) -> bool:
    return module.name == CALC or module.name.startswith(f"{CALC}.")


def constants_of(module: Module) -> list[ast.stmt]:
    """What a module does when it is imported: tables of functions and the like."""
    return [node for node in module.tree.body if isinstance(node, ast.Assign | ast.AnnAssign)]


def unused(code: Code) -> set[str]:
    """What in calc nobody comes to, who begins outside calc and goes on from function to function."""
    definitions = defined_in_calc(code)
    waiting = [
        name
        for module in code.modules.values()
        if not is_calc(module) and module.name.startswith(USERS)
        for name in code.used(module, module.tree)
    ]
    tables = {
        f"{module.name}.{target.id}": (module, node)
        for module in code.modules.values()
        if is_calc(module)
        for node in constants_of(module)
        for target in (node.targets if isinstance(node, ast.Assign) else [node.target])
        if isinstance(target, ast.Name)
    }
    reached: set[str] = set()
    while waiting:
        name = waiting.pop()
        # A method is reached with its class: wearlog.calc.lines.Line.at comes to wearlog.calc.lines.Line.
        waiting += [outer for outer in [name.rpartition(".")[0]] if outer in definitions]
        if name in reached or name not in definitions | tables:
            continue
        reached.add(name)
        module, node = (definitions | tables)[name]
        waiting += code.used(module, node)
    return {name for name in definitions if not name.rpartition(".")[2].startswith("_")} - reached


def methods_not_called(code: Code, templates: str = "") -> set[str]:
    """Public methods and properties of calc's classes whose name nobody takes from anything, in code or in a
    template, but tests of calc itself."""
    taken = set(re.findall(r"\.([a-z]\w*)", templates)) | {
        node.attr
        for module in code.modules.values()
        if module.name.startswith(USERS)
        for node in ast.walk(module.tree)
        if isinstance(node, ast.Attribute)
    }
    return {
        f"{name}.{method.name}"
        for name, (_, node) in defined_in_calc(code).items()
        if isinstance(node, ast.ClassDef)
        for method in node.body
        if isinstance(method, ast.FunctionDef)
        if not method.name.startswith("_") and method.name not in taken
    }


@cache
def the_code() -> Code:
    return Code.below(ROOT, "wearlog", "tests")


def test_every_function_and_class_of_calc_is_used_by_the_product_or_a_published_check() -> None:
    assert unused(the_code()) == set()


def test_every_method_of_calc_is_called_by_the_product_or_a_published_check() -> None:
    templates = (ROOT / "wearlog").rglob("templates/**/*.*")
    assert methods_not_called(the_code(), "".join(path.read_text() for path in templates)) == set()


# --- and that it can fail ----------------------------------------------------------------------------

LINES = """
class Line:
    def at(self, x): return self.slope_of(x)
    def slope_of(self, x): return TABLE["a"](x)
    def turned(self): return self
def fit(points): return Line()
def inner(x): return x
def left_over(x): return also_left_over(x)
def also_left_over(x): return x
TABLE = {"a": inner}
"""
PAGE = "from wearlog.calc import lines\nfound = lines.fit(points).at(3)"


def code_with(**more: str) -> Code:
    return Code({"wearlog.calc": "", "wearlog.calc.lines": LINES, "wearlog.web.page": PAGE, **more})


def test_what_nobody_uses_is_found_with_what_only_that_uses() -> None:
    assert unused(code_with()) == {"wearlog.calc.lines.left_over", "wearlog.calc.lines.also_left_over"}
    assert methods_not_called(code_with()) == {"wearlog.calc.lines.Line.turned"}
    assert methods_not_called(code_with(), "{% if line.turned %}") == set()


def test_a_published_check_keeps_a_function_and_a_test_of_calc_does_not() -> None:
    check = "from wearlog.calc.lines import left_over"
    assert unused(code_with(**{"tests.published.test_lines": check})) == set()
    assert len(unused(code_with(**{"tests.calc.test_lines": check}))) == 2


@pytest.mark.parametrize(
    "source",
    [
        "from wearlog.calc.lines import left_over as other\nother(1)",
        "import wearlog.calc.lines\nwearlog.calc.lines.left_over(1)",
        "def view(request):\n    from wearlog.calc import lines as them\n    them.left_over(1)",
    ],
)
def test_a_use_is_seen_however_it_is_imported(source: str) -> None:
    assert unused(code_with(**{"wearlog.web.other": source})) == set()
