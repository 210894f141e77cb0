"""Which runs a table of runs is asked for, as plain values."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from wearlog.runs.seasons import SEASON_START


class Counts(StrEnum):
    """Which runs by how they count."""

    ALL = ""
    RATE = "rate"
    """With hours and with seed that was weighed or estimated, no purge: what rates are made of."""
    COSTS = "costs"
    """With hours, no purge: those among which costs are divided."""
    PURGE = "purge"
    WORKED_OUT = "worked_out"
    """With hours, no purge, and seed that was worked out from the usual rate."""
    UNTIMED = "untimed"
    """Without hours, no purge."""


KNOWN = ("oil", "cake", "energy")


@dataclass(frozen=True, kw_only=True)
class Through:
    """Runs through these parts: what a run pressed while all that is named sat on its press. Codes of parts
    and of types; `size_mm` is of a die's bore. `life` is 0 for parts as new, 1 after the first rebuild."""

    die: str = ""
    screw: str = ""
    part: str = ""
    type: str = ""
    size_mm: float | None = None
    edge: str = ""
    fitting: int | None = None
    life: int | None = None

    def __bool__(self) -> bool:
        return self != Through()

    @property
    def parts(self) -> tuple[str, ...]:
        return tuple(code for code in (self.die, self.screw, self.part) if code)


@dataclass(frozen=True, kw_only=True)
class RunChoice:
    """Empty keeps all. `first` and `last` are days of the mill, both included; a run belongs to the day and
    to the season in which it began. `known` is one of `KNOWN`: only runs where that is recorded."""

    presses: tuple[str, ...] = ()
    crops: tuple[str, ...] = ()
    seasons: tuple[str, ...] = ()
    season_start: str = SEASON_START
    first: date | None = None
    last: date | None = None
    lot: str = ""
    person: str = ""
    through: Through = Through()
    counts: Counts = Counts.ALL
    known: str = ""

    @property
    def is_of_parts_alone(self) -> bool:
        """Whether nothing but parts narrows it, so that what no run is logged for counts as well."""
        return bool(self.through) and self == RunChoice(through=self.through)
