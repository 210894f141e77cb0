"""Stretches of time that may not share a moment: runs through one barrel, parts on one position."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

FOR_EVER = datetime.max.replace(tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class Stretch:
    """From an instant to another. `place` is where only one may be at a time, `name` what people call it,
    `row` its row in the file or None for one that is stored already."""

    place: Any
    start: datetime
    end: datetime
    row: int | None
    name: str


def overlapping(stretches: Iterable[Stretch]) -> Iterator[tuple[int, Stretch]]:
    """Each row that meets another stretch at its place, once, with that other one.

    The later of the two is named as the one to look at, unless it is stored already. Stretches include
    their start and exclude their end; one without length meets nothing."""
    named: set[int] = set()
    longest: Stretch | None = None
    for stretch in sorted(stretches, key=lambda each: (each.place, each.start, each.end)):
        if stretch.end == stretch.start:
            continue
        if longest is not None and longest.place == stretch.place:
            if stretch.start < longest.end:
                blamed, other = (stretch, longest) if stretch.row is not None else (longest, stretch)
                if blamed.row is not None and blamed.row not in named:
                    named.add(blamed.row)
                    yield blamed.row, other
            if stretch.end <= longest.end:
                continue
        longest = stretch
