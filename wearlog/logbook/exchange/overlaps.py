"""Intervals that may not overlap: runs through one barrel, parts on one position."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime

FOR_EVER = datetime.max.replace(tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class Stretch:
    """An interval of time. `place` holds only one at a time, `name` is its name for people, `row` its row in
    the file or None where it is already stored."""

    place: object
    start: datetime
    end: datetime
    row: int | None
    name: str


def overlapping(stretches: Iterable[Stretch]) -> Iterator[tuple[int, Stretch]]:
    """Each row that overlaps another stretch at the same place, once, with that other one.

    The later of the two is the one reported, unless it is already stored. Stretches include their start and
    exclude their end; an empty one overlaps nothing."""
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
