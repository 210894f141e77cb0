"""What is due: computed from the log, remembered only as long as the log stays as it is.

Three memories, each exact. The last answers, by the log's version. The answers stored in the database, by
the same version, so that a process that has just started need not begin anew. And the items of each press,
by the content that they depend on (`scope`): after an entry only the presses that it touches are worked out
again.
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
from wearlog.history.cache import Shelf, VersionShelf, lasting
from wearlog.history.record import Record, load

REMEMBERED = 8
_ITEMS: VersionShelf[tuple[date, str], tuple[DueItem, ...]] = VersionShelf("due items", most=REMEMBERED)
"""Under a day and a language."""
_OF_PRESS: Shelf[str, tuple[DueItem, ...]] = Shelf("due items of a press", most=512)
"""Under the name of all that they depend on."""


@dataclass(frozen=True, eq=False)
class Ground:
    """A day's record, and what is worked out from it once for every reader."""

    record: Record
    edges: Edges

    @cached_property
    def scopes(self) -> dict[int, Scope]:
        return scopes_of(self.record)


@dataclass(frozen=True, eq=False)
class Reckoning:
    """What a day's record says of every press, in one language."""

    ground: Ground
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
        """A name of all that the items of a press depend on."""
        return _name(self.scopes[press_id].fingerprint, self.edges.fingerprint, self.language)

    def of_press(self, press_id: int) -> tuple[str, tuple[DueItem, ...]]:
        """The items of one press, and the fingerprint that they go by.

        Rules without a wear limit are remembered apart: a gauge teaches the whole fleet, but not them."""
        scope = self.scopes[press_id]
        name = self.fingerprint(press_id)
        counted = _name(scope.fingerprint, "", self.language)

        @cache
        def board() -> Board:
            return Board(scope.record, self.edges, scope)

        at_limit = _OF_PRESS.get(f"limits {name}", lambda: tuple(board().items_where(at_limit=True)))
        others = _OF_PRESS.get(f"counted {counted}", lambda: tuple(board().items_where(at_limit=False)))
        return name, at_limit + others


def _name(*pieces: str) -> str:
    return sha256(repr(pieces).encode()).hexdigest()[:48]


_GROUND: VersionShelf[date, Ground] = VersionShelf("the record of a day", most=1)
"""The record is large, so that only the latest one is kept."""


def merged(of_presses: Iterable[Iterable[DueItem]]) -> tuple[DueItem, ...]:
    """The items of several presses in one order, each with its caution as it reads now."""
    items = [item for items in of_presses for item in items]
    return tuple(in_order(with_cautions(items)))


def reckoning(*, as_of: date) -> Reckoning:
    """For pages that show what presses and parts have worked beside what is due: one reading of the log."""
    return _reckoning(as_of, versions.current())


def _reckoning(as_of: date, number: int) -> Reckoning:
    return Reckoning(_ground(as_of, number), get_language() or "")


def _ground(as_of: date, number: int) -> Ground:
    """`number` is the log's version, read before anything else of it."""

    def make() -> Ground:
        record = load(as_of)
        return Ground(record, Edges(record))

    return _GROUND.get(as_of, make, number=number)


def due_items(*, as_of: date) -> list[DueItem]:
    """Every item of the forecast as the log stood at the end of the day, most pressing first.

    Reads only. The answer is kept in the process beside the log's version; a write to the log makes it
    stale at once. Within a transaction nothing is kept, since that may yet be rolled back.
    """
    number, language = versions.current(), get_language() or ""

    def work_out() -> tuple[DueItem, ...]:
        stored = None
        if lasting(number):
            stored = snapshots.stored(number=number, as_of=as_of, language=language)
        return _reckoning(as_of, number).items if stored is None else merged(stored)

    return list(_ITEMS.get((as_of, language), work_out, number=number))


def remembered_items(*, as_of: date) -> list[DueItem] | None:
    """What `due_items` would answer where it need not be worked out again, else None."""
    known = _ITEMS.find((as_of, get_language() or ""))
    return None if known is None else list(known)


def items_of_press(press_id: int, *, as_of: date) -> list[DueItem]:
    return [item for item in due_items(as_of=as_of) if item.press_id == press_id]


def items_of_part(part_id: int, *, as_of: date) -> list[DueItem]:
    return [item for item in due_items(as_of=as_of) if item.part_id == part_id]
