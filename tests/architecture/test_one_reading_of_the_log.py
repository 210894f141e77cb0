"""Who computes reads the log from `wearlog.history`; nobody above it reads a whole table of records himself.

A page may ask the database for a few records that it shows: of one press, one part, one person, by key. What
is looked for here are queries on a table of records that nothing narrows, and the arrays of `runs` asked for
past `history`.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
RECORDS = {"Run", "Reading", "Fitting", "Service", "Measurement", "Incident"}
ARRAYS = {"run_columns": "runs.hours", "readings_of": "runs.hours", "columns": "runs.columns"}
"""Readers of whole tables as arrays, and where they stand."""
BELOW = ("calc", "people", "equipment", "runs", "service", "history")
NARROW = {
    *("pk", "id", "ref", "press", "press_id", "position", "part", "part_id", "service", "entered_by"),
    *("pk__in", "part__in", "part_id__in", "press__code", "press__code__in", "part__part_type"),
}
"""What a query may be held to so that it answers with a few records."""
BOUNDED = {"of", "open", "in_place", "running", "create", "bulk_create", "get_or_create"}
"""`of` is of one press; open fittings, fittings in place and running runs are as many as there are places."""

WITH_REASON = {
    "wearlog/compare/costs/season.py _by_lot": "the lots of the runs of one season, which no array holds",
    "wearlog/lockout/yearly/looks.py last_looks": "shows records: one a year for each yearly rule and press",
    "wearlog/logbook/exchange/exporting.py without_voided_services": "writes all records as they are",
    "wearlog/logbook/exchange/relations.py meeting_fittings": "holds a logbook against all stored fittings",
    "wearlog/web/records/filters.py shown_gauges": "shows records, a page at a time",
    "wearlog/web/records/filters.py shown_incidents": "shows records, a page at a time",
    "wearlog/web/records/filters.py shown_work": "shows records, a page at a time",
    "wearlog/reminders/calendar/state.py _work_for": "the work that may have closed open events",
}
"""Where a table of records is asked for with nothing of `NARROW`, and why that may be."""


class Finder(ast.NodeVisitor):
    """Queries that nothing narrows, each with the function it stands in and its line."""

    def __init__(self) -> None:
        self.inside: list[str] = []
        self.found: list[tuple[str, int]] = []

    def visit_FunctionDef(self, node: ast.FunctionDef | ast.ClassDef | ast.AsyncFunctionDef) -> None:
        self.inside.append(node.name)
        self.generic_visit(node)
        self.inside.pop()

    def visit_ClassDef(self, node: ast.ClassDef) -> None:
        self.visit_FunctionDef(node)

    def visit_AsyncFunctionDef(self, node: ast.AsyncFunctionDef) -> None:
        self.visit_FunctionDef(node)

    def visit_ImportFrom(self, node: ast.ImportFrom) -> None:
        for alias in node.names:
            home = ARRAYS.get(alias.name)
            if home is not None and (node.module or "").endswith(home):
                self.found.append((".".join(self.inside), node.lineno))

    def visit_Attribute(self, node: ast.Attribute) -> None:
        of = ast.unparse(node.value).split(".")[-1]
        if (node.attr == "objects" and of in RECORDS) or f"runs.{of}" == ARRAYS.get(node.attr):
            self.found.append((".".join(self.inside), node.lineno))
        self.generic_visit(node)

    def visit_Call(self, node: ast.Call) -> None:
        """Walk down `Run.objects.not_voided().filter(...)` from its last call, and into their arguments."""
        base: ast.expr = node
        narrow = False
        while isinstance(base, ast.Call) and isinstance(base.func, ast.Attribute):
            for given in (*base.args, *(keyword.value for keyword in base.keywords)):
                self.visit(given)
            narrow = narrow or narrows(base)
            if f"runs.{ast.unparse(base.func.value)}" == ARRAYS.get(base.func.attr):
                self.visit(base.func)
            base = base.func.value
        if isinstance(base, ast.Call):
            if ast.unparse(base.func) == "get_object_or_404" and held(base):
                return
            self.generic_visit(base)
        elif not (narrow and isinstance(base, ast.Attribute) and base.attr == "objects"):
            self.visit(base)


def narrows(call: ast.Call) -> bool:
    name = call.func.attr if isinstance(call.func, ast.Attribute) else ""
    if name in BOUNDED:
        return True
    return name in ("filter", "get") and held(call)


def held(call: ast.Call) -> bool:
    return any(keyword.arg in NARROW for keyword in call.keywords)


def readings_in(source: str) -> list[tuple[str, int]]:
    finder = Finder()
    finder.visit(ast.parse(source))
    return finder.found


def found_in_the_code() -> Iterator[tuple[str, int]]:
    for path in sorted((ROOT / "wearlog").rglob("*.py")):
        name = path.relative_to(ROOT).as_posix()
        if "migrations" in path.parts or name.split("/")[1] in BELOW:
            continue
        for function, line in readings_in(path.read_text()):
            yield f"{name} {function}".strip(), line


def test_nobody_above_history_reads_a_whole_table_of_records() -> None:
    found = [f"{place}, line {line}" for place, line in found_in_the_code() if place not in WITH_REASON]
    assert found == []


def test_every_exception_is_still_needed() -> None:
    assert set(WITH_REASON) - {place for place, _line in found_in_the_code()} == set()


@pytest.mark.parametrize(
    "source",
    [
        "rows = Run.objects.all()",
        "for run in Run.objects.not_voided():\n    total += run.seed_kg",
        "rows = list(Service.objects.not_voided().order_by('done_at').values_list('pk', 'cost'))",
        "rows = models.Run.objects.not_voided().filter(purge=False, seed_kg__gt=0)",
        "rows = Run.objects.filter(Q(press=press) | Q(crop=crop))",
        "rows = Run.objects.filter(press_id__in=presses)",
        "found = sorted(Fitting.objects.not_voided().filter(removed_at=None), key=by)",
        "seen = Part.objects.filter(fittings__in=Fitting.objects.not_voided())",
        "from wearlog.runs.hours import run_columns",
        "from wearlog.runs.columns import columns",
        "table = hours.run_columns(rows)",
        "from wearlog.runs import hours\nmeters = hours.readings_of(presses)",
        "seen = Run.objects.aggregate(last=Max('pk'))",
        "rows = Incident.objects",
    ],
)
def test_a_reading_of_a_whole_table_is_found(source: str) -> None:
    assert len(readings_in(source)) == 1


@pytest.mark.parametrize(
    "source",
    [
        "run = Run.objects.not_voided().filter(press=press).order_by('-started_at').first()",
        "runs = Run.objects.of(press).with_usable_rate()",
        "run = Run.objects.select_related('press').get(pk=key)",
        "run = get_object_or_404(Run.objects.not_voided(), pk=key)",
        "places = Fitting.objects.open().select_related('part')",
        "rows = Run.objects.filter(pk__in=Service.objects.filter(part=part).values('run'))",
        "rows = Press.objects.all()",
        "from wearlog.history.yields import WEIGHED",
        "from wearlog.compare.columns import columns",
    ],
)
def test_a_few_records_may_be_asked_for(source: str) -> None:
    assert readings_in(source) == []
