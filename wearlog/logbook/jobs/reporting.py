"""The problems of a logbook: grouped for the screen, in full as a file."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Sequence
from typing import TypedDict

from wearlog.logbook.exchange.columns import TEXT
from wearlog.logbook.exchange.problems import BadLogbook, BadRow, Conflict, Conflicting, on_one_line
from wearlog.people.models import Mill

EXAMPLES = 3
"""How many problems of each kind are shown."""
HEADER = ("file", "line", "column", "value", "stored here", "what is wrong")

Problem = BadRow | Conflict


class Group(TypedDict):
    """The problems of one file and column: how many, and the first few in words."""

    file: str
    column: str
    count: int
    first: list[str]


def problems_of(bad: BadLogbook | Conflicting) -> Sequence[Problem]:
    return bad.rows if isinstance(bad, BadLogbook) else bad.conflicts


def groups(problems: Sequence[Problem]) -> list[Group]:
    """For each file and column, the number of problems and the first few of them; the most frequent first."""
    found: dict[tuple[str, str], Group] = {}
    for problem in problems:
        key = (problem.file, problem.column)
        group = found.setdefault(
            key, {"file": problem.file, "column": problem.column, "count": 0, "first": []}
        )
        group["count"] += 1
        if len(group["first"]) < EXAMPLES:
            group["first"].append(str(problem))
    return sorted(found.values(), key=lambda group: -group["count"])


def as_csv(problems: Sequence[Problem]) -> Iterator[bytes]:
    """The problems as CSV (RFC 4180) with a header; cells that a spreadsheet would run as formulas are
    guarded."""
    yield "\ufeff".encode()  # so that a spreadsheet reads it as UTF-8
    for line in (HEADER, *map(row_of, problems)):
        out = io.StringIO(newline="")
        csv.writer(out, lineterminator="\r\n").writerow(guarded(cell) for cell in line)
        yield out.getvalue().encode()


def row_of(problem: Problem) -> tuple[object, ...]:
    if isinstance(problem, BadRow):
        cells: tuple[object, ...] = (problem.column, problem.value, "", problem.reason)
    else:
        cells = (problem.column, problem.there, problem.here, str(problem))
    return (problem.file, problem.line or "", *cells)


def guarded(cell: object) -> object:
    return TEXT.write(on_one_line(cell), Mill.current().zone) if isinstance(cell, str) and cell else cell
