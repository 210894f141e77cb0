"""Findings about an installation: what is well, what needs attention, what is bad, and what to do about it.

They are about the program, never about a machine: none says whether a press may be opened or run.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from django.db import DatabaseError


class State(StrEnum):
    OK = "ok"
    LOOK = "look"
    BAD = "bad"


@dataclass(frozen=True)
class Finding:
    """The result of a check. `words` says what was found, `do` what to do about it; empty where nothing is to
    be done."""

    state: State
    words: str
    do: str = ""


@dataclass(frozen=True)
class Line:
    """A finding with the name of its check."""

    name: str
    finding: Finding


Check = Callable[[datetime], Iterator[Finding]]
"""A function that takes the current time and yields findings. It only reads."""


def ok(words: str) -> Finding:
    return Finding(State.OK, words)


def warn(words: str, do: str) -> Finding:
    return Finding(State.LOOK, words, do)


def bad(words: str, do: str) -> Finding:
    return Finding(State.BAD, words, do)


def examine(checks: Sequence[tuple[str, Check]], *, at: datetime) -> Iterator[Line]:
    """Yield the findings of every check, in order. A check that fails with a database error becomes a bad
    finding, and the other checks still run."""
    for name, check in checks:
        try:
            for finding in check(at):
                yield Line(name, finding)
        except DatabaseError as error:
            reason = str(error).strip().partition("\n")[0]
            yield Line(
                name,
                bad(
                    f"could not be looked at: the database says {reason!r}",
                    "See the lines on the database and its migrations first.",
                ),
            )


def worst(lines: Sequence[Line]) -> State:
    states = {line.finding.state for line in lines}
    return next((state for state in (State.BAD, State.LOOK) if state in states), State.OK)
