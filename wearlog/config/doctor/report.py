"""Look over an installation: what is well, what wants a look, what is bad, and what to do about it.

It looks at the program, never at a machine: nothing it says is about whether a press may be opened or run.
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
    """One line. `words` say what is so, `do` what to do; empty where nothing is to be done."""

    state: State
    words: str
    do: str = ""


@dataclass(frozen=True)
class Line:
    """A finding under the name of its check."""

    name: str
    finding: Finding


Check = Callable[[datetime], Iterator[Finding]]
"""What a check finds, given what the clock says. It reads, and writes nothing."""


def ok(words: str) -> Finding:
    return Finding(State.OK, words)


def look(words: str, do: str) -> Finding:
    return Finding(State.LOOK, words, do)


def bad(words: str, do: str) -> Finding:
    return Finding(State.BAD, words, do)


def examine(checks: Sequence[tuple[str, Check]], *, at: datetime) -> Iterator[Line]:
    """Every finding of every check, in their order. A check that the database refuses is bad itself, and
    keeps none of the others from being made."""
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
