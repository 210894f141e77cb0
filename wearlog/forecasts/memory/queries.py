"""What is due: computed from the log, and cached for as long as the log stays the same.

There are three caches, none of which gives stale answers. The latest answers are cached in the process under
the log's version. Answers stored in the database under the same version save a new process from computing
them again. The items of each press are cached under the content that they depend on (`scope`), so that after
an entry only the presses it concerns are computed again.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from functools import cache, cached_property
from hashlib import sha256

from django.utils.translation import get_language

from wearlog.forecasts.board import Board, in_order, with_cautions
from wearlog.forecasts.edges import Edges
from wearlog.forecasts.items import DueItem
from wearlog.forecasts.memory import snapshots
from wearlog.forecasts.memory.scope import Scope, scopes_of
from wearlog.history import versions
from wearlog.history.cache import Cache, VersionCache, may_cache
from wearlog.history.record import Record, load

REMEMBERED = 8
_ITEMS: VersionCache[tuple[date, str], tuple[DueItem, ...]] = VersionCache("due items", most=REMEMBERED)
"""By day and language."""
_OF_PRESS: Cache[str, tuple[DueItem, ...]] = Cache("due items of a press", most=512)
"""By the fingerprint of everything that they depend on."""


@dataclass(frozen=True, eq=False)
class DayRecord:
    """A day's record and its edges, shared by all readers."""

    record: Record
    edges: Edges

    @cached_property
    def scopes(self) -> dict[int, Scope]:
        return scopes_of(self.record)


@dataclass(frozen=True, eq=False)
class Forecast:
    """The due items of every press on a day, in one language."""

    ground: DayRecord
    language: str

    @property
    def edges(self) -> Edges:
        return self.ground.edges

    @property
    def scopes(self) -> dict[int, Scope]:
        return self.ground.scopes

    @cached_property
    def items(self) -> tuple[DueItem, ...]:
        return merged(self.of_press(press_id)[1] for press_id in self.scopes)

    def fingerprint(self, press_id: int) -> str:
        """A fingerprint of everything that the items of a press depend on."""
        return _digest(self.scopes[press_id].fingerprint, self.edges.fingerprint, self.language)

    def of_press(self, press_id: int) -> tuple[str, tuple[DueItem, ...]]:
        """The fingerprint of a press's items, and the items.

        Items of rules without a wear limit are cached separately, because a new gauge reading changes the
        fits of the whole fleet but does not affect them."""
        scope = self.scopes[press_id]
        name = self.fingerprint(press_id)
        counted = _digest(scope.fingerprint, "", self.language)

        @cache
        def board() -> Board:
            return Board(scope.record, self.edges, scope)

        at_limit = _OF_PRESS.get(f"limits {name}", lambda: tuple(board().items_where(at_limit=True)))
        others = _OF_PRESS.get(f"counted {counted}", lambda: tuple(board().items_where(at_limit=False)))
        return name, at_limit + others


def _digest(*pieces: str) -> str:
    return sha256(repr(pieces).encode()).hexdigest()[:48]


_GROUND: VersionCache[date, DayRecord] = VersionCache("the record of a day", most=1)
"""A record is large, so that only the latest one is kept."""


def merged(of_presses: Iterable[Iterable[DueItem]]) -> tuple[DueItem, ...]:
    """The items of several presses in one order, each with its current caution."""
    items = [item for items in of_presses for item in items]
    return tuple(in_order(with_cautions(items)))


def forecast_of_day(*, as_of: date) -> Forecast:
    """Due items together with the record behind them, for pages that show both; the log is read once."""
    return _reckoning(as_of, versions.current())


def _reckoning(as_of: date, number: int) -> Forecast:
    return Forecast(_ground(as_of, number), get_language() or "")


def _ground(as_of: date, number: int) -> DayRecord:
    """`number` is the log's version, which must be read before anything else of the log."""

    def make() -> DayRecord:
        record = load(as_of)
        return DayRecord(record, Edges(record))

    return _GROUND.get(as_of, make, number=number)


def due_items(*, as_of: date) -> list[DueItem]:
    """Every item of the forecast as the log stood at the end of the day, most urgent first.

    Reads only. The answer is cached in the process under the log's version, so that a write to the log makes
    it stale at once. Within a transaction nothing is cached, since it may be rolled back.
    """
    number, language = versions.current(), get_language() or ""

    def work_out() -> tuple[DueItem, ...]:
        stored = None
        if may_cache(number):
            stored = snapshots.stored(number=number, as_of=as_of, language=language)
        return _reckoning(as_of, number).items if stored is None else merged(stored)

    return list(_ITEMS.get((as_of, language), work_out, number=number))


def cached_items(*, as_of: date) -> list[DueItem] | None:
    """The answer of `due_items` if it is cached, else None."""
    known = _ITEMS.find((as_of, get_language() or ""))
    return None if known is None else list(known)


def items_of_press(press_id: int, *, as_of: date) -> list[DueItem]:
    return [item for item in due_items(as_of=as_of) if item.press_id == press_id]


def items_of_part(part_id: int, *, as_of: date) -> list[DueItem]:
    return [item for item in due_items(as_of=as_of) if item.part_id == part_id]
