"""Nothing works out hours of runs beside the one rule, `wearlog.calc.meters.hours_of_press`.

What is looked for in every module: who asks the rule; arithmetic on what the meter showed or on hours that
were written down; and the time from a run's start to its end. A name that is given such a value stands for it
until it is given another. What is found is a way around the rule, or has its reason in `NO_WAY_AROUND`.
"""

from __future__ import annotations

import ast
import re
from enum import StrEnum
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
THE_RULE = ("wearlog/calc/meters/", "wearlog/runs/hours.py")
NO_WAY_AROUND = {
    "wearlog/runs/models.py Run.end_of": "a run that has hours and no end ends after them",
    "wearlog/runs/times.py read_at_end": "the same end, for the moment at which the meter was read",
    "wearlog/runs/times.py times_of": "a start that nobody gave is counted back by written hours",
    "wearlog/runs/validation.py about_hours": "asks whether hours are more than the clock allows",
    "wearlog/runs/validation.py _step": "asks whether a meter went back or ran ahead",
    "wearlog/runs/queries.py rate_of": "the pace of a run: its seed over the hours that the rule gave it",
    "wearlog/runs/actions.py log_run": "adds questions, one of them about seed that follows from hours",
    "wearlog/compare/reliability.py type_lives": "hours of parts between two rebuilds, from the timelines",
    "wearlog/compare/shopping/needs.py _by_life": "hours of parts since renewed, from the timelines",
    "wearlog/compare/worked.py Work.__add__": "hours of parts, from the timelines",
    "wearlog/web/drawing/charts/throughput.py RatePoint.kg_per_h": "seed over the hours of the rule",
    "wearlog/web/drawing/charts/throughput.py pace_of": "the same of several runs together",
    "wearlog/web/drawing/charts/throughput.py SeasonThroughput.crops": "the same, summed for each crop",
}
"""File and function where something is found that works out no hours of a run, and what it does."""


class Way(StrEnum):
    PAST = "asks the rule, or a part of it, past runs.hours"
    COUNTS = "counts with what the meter showed or with hours that were written down"
    CLOCK = "takes the time from a run's start to its end"
    IN_HOURS = "turns a difference of instants into hours"


# --- looking -----------------------------------------------------------------------------------------

HOURS, START, END = "hours", "start", "end"
NAMES = {
    "meter_h": HOURS,
    "hours_h": HOURS,
    "recorded_h": HOURS,
    "started_at": START,
    "ended_at": END,
    "ends_at": END,
}
SUMS = {"sum", "fsum", "nansum", "cumsum", "accumulate", "bincount", "trapezoid", "interp", "dot", "Sum"}
SUMS |= {"mean", "fmean", "nanmean", "average", "Avg", "median", "nanmedian", "diff", "subtract"}
KEEP = {"float", "int", "Decimal", "abs", "round", "max", "min", "stored", "list", "tuple", "sorted", "get"}
KEEP |= {
    "array",
    "asarray",
    "where",
    "concatenate",
    "nan_to_num",
    "number",
    "seconds",
    "F",
    "Cast",
    "Coalesce",
}
"""Calls whose answer stands for what they were given."""
WORDS = {"_", "gettext", "ngettext", "str", "repr", "figure", "plain", "when", "until", "in_language"}
"""Calls that make words of what they were given; those that begin with `show` do too."""
ARITHMETIC = ast.Add | ast.Sub | ast.Mult | ast.Div | ast.FloorDiv
AN_HOUR = re.compile(r"3600(\.0)?|timedelta\(hours=1\)|[A-Z_]*HOUR[A-Z_]*")
SQL = re.compile(r"\b(sum|avg|total|lag|lead)\s*\([^)]*\b(hours_h|meter_h)\b", re.IGNORECASE)
PARTS = {path.stem for path in (ROOT / "wearlog/calc/meters").glob("[a-z]*.py")}


def called(node: ast.AST) -> str:
    """The last part of the name that is called."""
    func = node.func if isinstance(node, ast.Call) else None
    return func.attr if isinstance(func, ast.Attribute) else func.id if isinstance(func, ast.Name) else ""


def is_words(node: ast.AST) -> bool:
    return isinstance(node, ast.JoinedStr) or called(node) in WORDS or called(node).startswith("show")


def is_list(node: ast.AST) -> bool:
    return isinstance(node, ast.List | ast.Tuple | ast.ListComp)


def by_an_hour(node: ast.BinOp) -> bool:
    """Whether something is divided by an hour, or by 60 twice."""
    by = ast.unparse(node.right)
    twice = isinstance(node.left, ast.BinOp) and by == ast.unparse(node.left.right) == "60"
    return twice or AN_HOUR.fullmatch(by) is not None


def differs(node: ast.AST) -> bool:
    differences = (isinstance(part, ast.BinOp) and isinstance(part.op, ast.Sub) for part in ast.walk(node))
    return any(differences) or any(called(part) in ("total_seconds", "diff") for part in ast.walk(node))


class Finder(ast.NodeVisitor):
    """Walks one module. `found` holds (function, line, way)."""

    def __init__(self) -> None:
        self.found: list[tuple[str, int, Way]] = []
        self.inside: list[str] = []
        self.given: dict[str, str] = {}

    def see(self, node: ast.expr | ast.stmt, way: Way, *, when: bool) -> None:
        if when:
            self.found.append((".".join(self.inside), node.lineno, way))

    def made_of(self, *nodes: ast.AST | None) -> set[str]:
        """Which of hours, start and end the values are made of; not what they are only compared with."""
        found: set[str] = set()
        for node in nodes:
            stands = self.stands_for(node)
            if stands:
                found.add(stands)
            elif isinstance(node, ast.IfExp):
                found |= self.made_of(node.body, node.orelse)
            elif node is not None and not is_words(node) and not isinstance(node, ast.Compare | ast.Lambda):
                found |= self.made_of(*ast.iter_child_nodes(node))
        return found

    def stands_for(self, node: ast.AST | None) -> str:
        if isinstance(node, ast.Attribute):
            return NAMES.get(node.attr, "")
        if isinstance(node, ast.Name):
            return self.given.get(node.id, NAMES.get(node.id, ""))
        # A field by its name, as in row["hours_h"], row.get("hours_h") and F("run__hours_h").
        texts = node.args if isinstance(node, ast.Call) else ()
        texts = (node.slice,) if isinstance(node, ast.Subscript) else texts
        fields = (text.value for text in texts if isinstance(text, ast.Constant))
        return next(filter(None, (NAMES.get(str(field).rpartition("__")[2]) for field in fields)), "")

    def give(self, target: ast.AST, value: ast.AST | None) -> None:
        """From here on a name stands for what it is given."""
        if isinstance(target, ast.Tuple | ast.List):
            values = value.elts if isinstance(value, ast.Tuple | ast.List) else [None] * len(target.elts)
            for one, each in zip(target.elts, values, strict=False):
                self.give(one, each)
        elif isinstance(target, ast.Name):
            stands = self.made_of(value)
            kept = not isinstance(value, ast.Call) or called(value) in KEEP
            self.given[target.id] = stands.pop() if kept and len(stands) == 1 else NAMES.get(target.id, "")

    def visit_Assign(self, node: ast.Assign) -> None:
        self.generic_visit(node)
        for target in node.targets:
            self.give(target, node.value)

    def visit_AnnAssign(self, node: ast.AnnAssign) -> None:
        self.generic_visit(node)
        self.give(node.target, node.value)

    def visit_NamedExpr(self, node: ast.NamedExpr) -> None:
        self.generic_visit(node)
        self.give(node.target, node.value)

    def visit_For(self, node: ast.For) -> None:
        self.give(node.target, node.iter)
        self.generic_visit(node)

    def visit_FunctionDef(self, node: ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef) -> None:
        outer = dict(self.given)
        self.inside.append(node.name)
        self.generic_visit(node)
        self.inside.pop()
        self.given = outer

    def visit_AsyncFunctionDef(self, node: ast.AsyncFunctionDef) -> None:
        self.visit_FunctionDef(node)

    def visit_ClassDef(self, node: ast.ClassDef) -> None:
        self.visit_FunctionDef(node)

    def visit_BinOp(self, node: ast.BinOp) -> None:
        if isinstance(node.op, ARITHMETIC) and not (is_list(node.left) or is_list(node.right)):
            self.see(node, Way.COUNTS, when=HOURS in self.made_of(node.left, node.right))
        if isinstance(node.op, ast.Sub):
            self.see(node, Way.CLOCK, when=self.from_start_to_end(node.right, node.left))
        if isinstance(node.op, ast.Div | ast.FloorDiv):
            self.see(node, Way.IN_HOURS, when=by_an_hour(node) and differs(node.left))
        self.generic_visit(node)

    def visit_AugAssign(self, node: ast.AugAssign) -> None:
        self.see(node, Way.COUNTS, when=HOURS in self.made_of(node.target, node.value))
        self.generic_visit(node)

    def visit_Call(self, node: ast.Call) -> None:
        if called(node) in SUMS:
            of = node.func.value if isinstance(node.func, ast.Attribute) else None
            self.see(node, Way.COUNTS, when=HOURS in self.made_of(of, *node.args, *node.keywords, node))
        if called(node) == "hours_between":
            self.see(node, Way.CLOCK, when=self.from_start_to_end(node.args[0], node.args[-1]))
        self.generic_visit(node)

    def from_start_to_end(self, start: ast.AST, end: ast.AST) -> bool:
        return START in self.made_of(start) and END in self.made_of(end)

    def visit_Constant(self, node: ast.Constant) -> None:
        self.see(node, Way.COUNTS, when=isinstance(node.value, str) and SQL.search(node.value) is not None)

    def visit_Import(self, node: ast.Import) -> None:
        self.see(node, Way.PAST, when=any("calc.meters." in alias.name for alias in node.names))

    def visit_ImportFrom(self, node: ast.ImportFrom) -> None:
        module = node.module or ""
        parts = PARTS if module.endswith("calc.meters") else set()
        asks = {alias.name for alias in node.names} & {"hours_of_press", *parts}
        self.see(node, Way.PAST, when=bool(asks) or "calc.meters." in module)

    def visit_Attribute(self, node: ast.Attribute) -> None:
        part = node.attr in PARTS and ast.unparse(node.value).rpartition(".")[2] == "meters"
        self.see(node, Way.PAST, when=part or node.attr == "hours_of_press")
        self.generic_visit(node)


def ways_in(source: str) -> list[tuple[str, int, Way]]:
    finder = Finder()
    finder.visit(ast.parse(source))
    return finder.found


@cache
def found_in_the_code() -> dict[str, list[str]]:
    """For each file and function what was found in it."""
    found: dict[str, list[str]] = {}
    for path in sorted((ROOT / "wearlog").rglob("*.py")):
        name = path.relative_to(ROOT).as_posix()
        if "migrations" not in path.parts and not name.startswith(THE_RULE):
            for function, line, way in ways_in(path.read_text()):
                found.setdefault(f"{name} {function}", []).append(f"line {line} {way}")
    return found


# --- the rule, and that it can fail ------------------------------------------------------------------


def test_no_module_works_out_hours_of_runs_beside_the_rule() -> None:
    found = found_in_the_code()
    assert {place: ways for place, ways in found.items() if place not in NO_WAY_AROUND} == {}


def test_every_exception_is_still_needed() -> None:
    assert set(NO_WAY_AROUND) - set(found_in_the_code()) == set()


PAST, COUNTS, CLOCK, IN_HOURS = Way


@pytest.mark.parametrize(
    ("source", "way"),
    [
        ("from wearlog.calc.meters import hours_of_press", PAST),
        ("from wearlog.calc.meters.readings import judge", PAST),
        ("from wearlog.calc.meters import overlaps", PAST),
        ("import wearlog.calc.meters.overlaps", PAST),
        ("from wearlog.calc import meters\nfound = meters.hours_of_press(**log)", PAST),
        ("from wearlog.calc import meters\nfound = meters.readings.judge(*table)", PAST),
        ("advance = after.meter_h - before.meter_h", COUNTS),
        ("advance = float(rows[1]['meter_h']) - float(rows[0]['meter_h'])", COUNTS),
        ("left = row.get('meter_h') - others", COUNTS),
        ("total = sum(run.hours_h or 0 for run in runs)", COUNTS),
        ("total = sum([run.hours_h for run in runs if run.hours_h])", COUNTS),
        ("worked += run.hours_h", COUNTS),
        ("worked += pause if run.hours_h is None else float(run.hours_h)", COUNTS),
        ("half = run.hours_h / 2", COUNTS),
        ("scaled = table.recorded_h[rows] * share", COUNTS),
        ("total = runs.recorded_h.sum()", COUNTS),
        ("advance = np.diff(readings.meter_h)", COUNTS),
        ("shown = np.interp(instants, readings.at, readings.meter_h)", COUNTS),
        ("total = np.bincount(stretch, weights=found['hours_h'])", COUNTS),
        ("usual = median(run.hours_h for run in runs)", COUNTS),
        ("total = Run.objects.aggregate(total=Sum('hours_h'))", COUNTS),
        ("usual = Press.objects.annotate(usual=Avg('runs__hours_h'))", COUNTS),
        ("step = Reading.objects.annotate(step=F('meter_h') - Value(1))", COUNTS),
        ("rows = cursor.execute('SELECT press_id, SUM(r.hours_h) FROM runs_run r')", COUNTS),
        ("first, second = a.meter_h, b.meter_h\nadvance = second - first", COUNTS),
        ("shown = float(reading.meter_h)\nleft = shown - others", COUNTS),
        ("if (shown := reading.meter_h) is not None:\n    left = shown - others", COUNTS),
        ("for shown in readings.meter_h:\n    total = total + shown", COUNTS),
        ("def left(meter_h, others):\n    return meter_h - others", COUNTS),
        ("class Reading:\n    def left(self, others):\n        return self.meter_h - others", COUNTS),
        ("ordered = sorted(runs, key=lambda run: run.hours_h * run.share)", COUNTS),
        ("length = run.ends_at - run.started_at", CLOCK),
        ("length = (run.ends_at or now) - max(run.started_at, since)", CLOCK),
        ("length = found['ended_at'] - found['started_at']", CLOCK),
        ("rows = Run.objects.annotate(length=F('ended_at') - F('started_at'))", CLOCK),
        ("start, end = run.started_at, run.ended_at\nlength = end - start", CLOCK),
        ("hours = hours_between(run.started_at, run.ended_at)", CLOCK),
        ("hours = (end - start).total_seconds() / 3600", IN_HOURS),
        ("hours = (ends - starts) / 3600.0", IN_HOURS),
        ("hours = (end - start) / timedelta(hours=1)", IN_HOURS),
        ("hours = (end - start) / 60 / 60", IN_HOURS),
        ("hours = np.diff(instants) / HOUR_S", IN_HOURS),
    ],
)
def test_a_way_around_the_rule_is_found(source: str, way: Way) -> None:
    assert way in [found for _function, _line, found in ways_in(source)]


@pytest.mark.parametrize(
    "source",
    [
        "from wearlog.calc.meters import PressHours, Source",
        "pressed = hours.of_run(run).hours_h",
        "rate = seed_kg / record.run_hours(press_id)",
        "total = record.press_hours(press_id).sum()",
        "told = run.hours_h is not None and run.hours_h > 24",
        "run = Run(started_at=start, ended_at=end, hours_h=Decimal(2))",
        "same = standing.meter_h == stored(meter_h)",
        "words = _('Meter at %s h') % plain(reading.meter_h)",
        "words += f', {units.show_hours(run.hours_h, system)}'",
        "words = show_hours(run.hours_h) + ' ' + crop",
        "names = ['seed_kg'] + ['hours_h', 'meter_h']",
        "columns = shown + [Column('hours_h', lambda line: line.hours_h)]",
        "ordered = sorted(runs, key=lambda run: run.hours_h)",
        "pressed = run.hours_h\npressed = 5\ntwice = pressed * 2",
        "def one(run):\n    pressed = run.hours_h\ndef other(pressed):\n    return pressed * 2",
        "pause = following.started_at - run.ended_at",
        "since = now - run.started_at",
        "until = run.ends_at - timedelta(minutes=1)",
        "part = (end - instant) / (end - start)",
        "days = (end - start).total_seconds() / 86400",
        "hours = Decimal(seconds) / 3600",
        "'Hours are meter_h - others, or the time from started_at to ended_at.'",
    ],
)
def test_what_works_out_no_hours_is_left_alone(source: str) -> None:
    assert ways_in(source) == []


def test_what_is_found_is_named_by_its_function_and_line() -> None:
    source = "class Log:\n    def left(self, reading):\n        return reading.meter_h - self.others\n"
    assert ways_in(source) == [("Log.left", 3, COUNTS)]
