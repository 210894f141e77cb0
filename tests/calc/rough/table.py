"""The table of results, on a terminal and in docs/methods."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from tests.calc.rough.scores import Found, Result

PAGE = Path(__file__).resolve().parents[3] / "docs" / "methods" / "wear-ranges.md"
BEGIN, END = "<!-- begin: made by python -m tests.calc.rough -->", "<!-- end -->"
HEAD = (
    "kind",
    "cases",
    "missing",
    "coverage",
    "before",
    "error / oracle",
    "error / lumped",
    "score",
    "best plain",
    "score / best",
    "score / known",
)


def lines(results: Sequence[Result], *, head: bool) -> list[str]:
    rows = [_cells(one) for one in results]
    wide = (10, 5, 7, 17, 17, 17, 17, 13, 11, 17, 17)
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
        f"{one.best} {one.best_score:.0f}",
        _two(one.against_best),
        _two(one.against_known),
    )


def _two(found: Found) -> str:
    return f"{found.value:.2f} ({found.low:.2f}-{found.high:.2f})"


def write(results: Sequence[Result], first: int, dates: int, to: Path = PAGE) -> None:
    """Put the table between the two marks of the page."""
    page = to.read_text()
    begin, end = page.index(BEGIN) + len(BEGIN), page.index(END)
    table = [_row(HEAD), _row(["---"] * len(HEAD)), *(_row(_cells(one)) for one in results)]
    told = f"Mills with the seeds {first} to {first + results[0].mills - 1}, {dates} forecast days each."
    to.write_text(page[:begin] + "\n" + "\n".join([told, "", *table]) + "\n" + page[end:])


def _row(cells: Sequence[str]) -> str:
    return "| " + " | ".join(cells) + " |"
