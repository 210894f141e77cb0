"""The table of results, on a terminal and in docs/methods."""

from __future__ import annotations

import csv
from collections.abc import Mapping, Sequence
from pathlib import Path

from tests.calc.pages import put_between
from tests.calc.rough.cases import ALONE, FORECAST, KNOWN, ORACLE, PLAIN, Case
from tests.calc.rough.scores import Found, Result

PAGE = Path(__file__).resolve().parents[3] / "docs" / "methods" / "wear-ranges.md"
BEGIN, END = "<!-- begin: made by python -m tests.calc.rough -->", "<!-- end -->"
SAID = (FORECAST, ALONE, *PLAIN, ORACLE, KNOWN)
HEAD = (
    "kind",
    "cases",
    "missing",
    "coverage",
    "before",
    "error / oracle",
    "error / lumped",
    "score",
    "alone",
    "best plain",
    "score / best",
    "score / known",
)


def lines(results: Sequence[Result], *, head: bool) -> list[str]:
    rows = [_cells(one) for one in results]
    wide = (10, 5, 7, 17, 17, 17, 17, 13, 5, 11, 17, 17)
    shown = [HEAD, *rows] if head else rows
    return [
        "  ".join(cell.ljust(width) for cell, width in zip(row, wide, strict=True)).rstrip() for row in shown
    ]


def _cells(one: Result) -> tuple[str, ...]:
    return (
        one.kind,
        str(one.cases),
        str(one.missing),
        _two(one.coverage),
        _two(one.before),
        _two(one.against_oracle),
        _two(one.against_lumped),
        f"{one.score.value:.0f} ({one.score.low:.0f}-{one.score.high:.0f})",
        f"{one.scores[ALONE]:.0f}",
        f"{one.best} {one.best_score:.0f}",
        _two(one.against_best),
        _two(one.against_known),
    )


def _two(found: Found) -> str:
    return f"{found.value:.2f} ({found.low:.2f}-{found.high:.2f})"


def write(results: Sequence[Result], first: int, dates: int, to: Path = PAGE) -> None:
    """Put the table between the two marks of the page."""
    table = [_row(HEAD), _row(["---"] * len(HEAD)), *(_row(_cells(one)) for one in results)]
    told = f"Mills with the seeds {first} to {first + results[0].mills - 1}, {dates} forecast days each."
    put_between(to, BEGIN, END, [told, "", *table])


def _row(cells: Sequence[str]) -> str:
    return "| " + " | ".join(cells) + " |"


def write_cases(to: Path, kind: str, mills: Mapping[int, Sequence[Case]], *, begin: bool) -> None:
    """A line for each case: how many days ahead its limit truly lies, and what each method said of that."""
    with to.open("w" if begin else "a", newline="") as file:
        out = csv.writer(file)
        if begin:
            ends = [f"{name} {end}" for name in SAID for end in ("early", "mid", "late")]
            out.writerow(["kind", "seed", "day", "part", "edge", "ahead", *ends])
        for seed, cases in mills.items():
            for one in cases:
                said = [
                    None if days is None else [at - one.day for at in days]
                    for days in map(one.said.get, SAID)
                ]
                flat = [at for days in said for at in (days or ("", "", ""))]
                out.writerow([kind, seed, one.day, *one.edge, one.came - one.day, *flat])
