"""The versions of the log: every write raises those of what it concerns, which makes values derived from
older versions stale.

Each write has a number. What is derived from the log is kept together with the number of the last write
before it was read, and is valid as long as nothing that it depends on has a later number.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field
from datetime import datetime

from django.db import connection
from django.db.models import Subquery

from wearlog.equipment.models import Press
from wearlog.history.models import LogVersion, PressVersion, SealedRuns


@dataclass(frozen=True)
class Change:
    """What a write concerns. runs: the primary keys of presses whose runs and readings have changed.
    runs_from: of these presses, the instant before which no run that was written begins, nor began; a press
    that is absent may have any run changed. items: those of presses for which anything has changed on which
    their due items depend. tables: which of `LogVersion.TABLES` were written. lessons: what gauges teach
    about wear may have changed. setup: what is asked of all presses (rules, the plan) may have changed, but
    neither their runs nor what was learned."""

    runs: frozenset[int] = frozenset()
    runs_from: Mapping[int, datetime] = field(default_factory=dict)
    items: frozenset[int] = frozenset()
    tables: frozenset[str] = frozenset()
    lessons: bool = False
    setup: bool = False


@dataclass(frozen=True)
class OfPress:
    """The numbers of the last writes that concerned a press, as in `Change`."""

    runs: int
    items: int
    sealed: bool = field(default=False, compare=False)
    """Whether there are sealed runs of the press that are valid by this version."""


@dataclass(frozen=True)
class Versions:
    """The numbers of the last writes: any, those that concerned all presses, those that may have changed what
    gauges teach, those to each of `LogVersion.TABLES`, and those of each press; a press without numbers yet
    is absent. every_press: the primary keys of all presses, with numbers or not."""

    number: int
    setup: int
    lessons: int
    tables: Mapping[str, int]
    presses: Mapping[int, OfPress]
    every_press: tuple[int, ...]

    @property
    def lasting(self) -> bool:
        """Whether anything was written yet."""
        return self.number > 0

    def items_since(self, press_id: int) -> int | None:
        """The number from which on due items of a press are valid; None where they must not be kept."""
        own = self.presses.get(press_id)
        return None if own is None else max(own.items, self.setup, self.lessons)


def touch(change: Change | None = None, *, runs_of: Collection[int] | None = None) -> None:
    """Record that the log has changed. Call it in the transaction of the change, as its last step, because it
    locks a row that all writers share.

    change: what the write concerns; None: every press. Then `runs_of` may still name the presses whose runs
    or readings have changed, so that those of the others need not be read again."""
    kept = _held.get()
    if kept is not None:
        kept.clear()
    if change is None:
        number = LogVersion.raise_by_one()
        PressVersion.raise_to(number, fields=("items",), press_ids=None)
        PressVersion.raise_to(number, fields=("runs",), press_ids=runs_of)
        return
    of_all = [name for name in ("setup", "lessons") if getattr(change, name)]
    number = LogVersion.raise_by_one([*change.tables, *of_all])
    for press_id in change.runs & change.runs_from.keys():
        SealedRuns.carry_on(number, press_id=press_id, runs_from=change.runs_from[press_id])
    for name in ("runs", "items"):
        presses: frozenset[int] = getattr(change, name)
        if presses:
            PressVersion.raise_to(number, fields=(name,), press_ids=presses)


@contextmanager
def held() -> Iterator[None]:
    """Within the block the versions are read once, so that all parts of a page are about one state of the log
    and don't ask for it again and again. A write within the block ends that: then they are read anew."""
    token = _held.set([])
    try:
        yield
    finally:
        _held.reset(token)


_held: ContextVar[list[Versions] | None] = ContextVar("held versions", default=None)
"""None outside of a block; in it a list of the versions read, or of nothing yet."""


def current() -> int:
    """The number of the last write, to be stored with a derived value; 0 before the first."""
    return LogVersion.objects.values_list("number", flat=True).first() or 0


def latest() -> Versions:
    """All versions as they are now. One query, so that they belong together, or none where they are held."""
    kept = _held.get()
    if kept is None or connection.in_atomic_block:
        return _latest()
    if not kept:
        kept.append(_latest())
    return kept[0]


def _latest() -> Versions:
    own = LogVersion.objects.filter(pk=1)
    log = {f"log_{name}": Subquery(own.values(name)) for name in LogVersion.NUMBERS}
    rows = list(
        Press.objects.order_by("pk")
        .annotate(**log)
        .values_list("pk", "version__runs", "version__items", "sealed__number", *log)
    )
    found = rows[0][4:] if rows else own.values_list(*LogVersion.NUMBERS).first()
    numbers = dict(zip(LogVersion.NUMBERS, found or (), strict=False))
    presses = {
        press: OfPress(runs, items, sealed == runs)
        for press, runs, items, sealed in (row[:4] for row in rows)
        if runs is not None
    }
    return Versions(
        number=numbers.get("number") or 0,
        setup=numbers.get("setup") or 0,
        lessons=numbers.get("lessons") or 0,
        tables={name: numbers.get(name) or 0 for name in LogVersion.TABLES},
        presses=presses,
        every_press=tuple(row[0] for row in rows),
    )


def of_runs() -> dict[int, int]:
    """The version of the runs and readings of each press, by its primary key; a press without a version yet
    is absent."""
    return {press_id: of.runs for press_id, of in latest().presses.items()}
