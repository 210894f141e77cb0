"""What is due: computed from the log, and cached for as long as what it depends on stays the same.

Due items are kept by press, in the process and in the database (`snapshots`), each with the number of the
last write before they were computed. They are valid until something is written on which they depend
(`history.versions`), so that an entry makes only those presses stale that it concerns, and a process that
starts computes none that another one has stored. The ground that they are computed from, the record of the
day, is carried on from one state of the log to the next.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass, replace
from datetime import date
from functools import cache
from hashlib import sha256

from django.utils.translation import get_language

from wearlog.forecasts.board import Board, in_order, with_cautions
from wearlog.forecasts.edges import Edges
from wearlog.forecasts.items import DueItem
from wearlog.forecasts.memory import snapshots, waiting
from wearlog.forecasts.memory.scope import Scopes
from wearlog.forecasts.memory.share import own_edges
from wearlog.forecasts.triggers.limit import TRIGGER as LIMIT
from wearlog.history import versions
from wearlog.history.cache import Cache, may_cache
from wearlog.history.log import Log, load_log
from wearlog.history.record import Record, record_as_of
from wearlog.history.versions import Versions
from wearlog.lockout.cautions.queries import Cautions

MOST_PRESSES = 4_096
"""Items of so many presses, days and languages are kept in a process; about 12 kB each, 50 MB in all."""
_KEPT: Cache[tuple[int, date, str], tuple[int, tuple[DueItem, ...]]] = Cache(
    "due items of a press", most=MOST_PRESSES
)
"""By press, day and language: the number for which the items are valid, and the items without cautions."""
_BY_CONTENT: Cache[str, tuple[DueItem, ...]] = Cache("due items by content", most=2 * MOST_PRESSES)
"""By the fingerprint of everything that they depend on: two answers for each press and language, of the same
items."""


@dataclass(frozen=True, eq=False)
class DayRecord:
    """A day's record with its edges and scopes, shared by all readers."""

    log: Log
    record: Record
    edges: Edges
    scopes: Scopes

    @classmethod
    def of(cls, log: Log, as_of: date, before: DayRecord | None = None) -> DayRecord:
        """The ground of a day. before: an earlier one, from which what has not changed since is taken."""
        if before is None or before.record.as_of != as_of or not log.carries_on(before.log):
            record = record_as_of(log, as_of)
            return cls(log, record, Edges(record), Scopes(record))
        since = before.log.versions.number
        touched = {press for press, of in log.versions.presses.items() if of.items > since}
        record = record_as_of(log, as_of, (before.log, before.record))
        edges = Edges(record, before.edges, touched=touched, same_lessons=log.versions.lessons <= since)
        same = {press: scope for press, scope in before.scopes.made.items() if press not in touched}
        if log.setup is not before.log.setup:
            same = {}  # each holds rules and plans
        return cls(log, record, edges, Scopes(record, same))

    def read_together(self, presses: Iterable[int]) -> None:
        """Read at once what the items of these presses need. The first edges of a process need every
        press."""
        needed: Collection[int] = self.record.presses
        if self.edges.are_known:
            needed = {where for press_id in presses for where in self.scopes.reach(press_id)}
        self.record.timelines_of(needed)


@dataclass(frozen=True, eq=False)
class Forecast:
    """The due items of every press on a day, in one language."""

    ground: DayRecord
    language: str

    @property
    def edges(self) -> Edges:
        return self.ground.edges

    @property
    def scopes(self) -> Scopes:
        return self.ground.scopes

    def fingerprint(self, press_id: int) -> str:
        """A fingerprint of everything that the items of a press depend on: first of what those without a wear
        limit depend on, then of all."""
        whole = _digest(self.scopes[press_id].fingerprint, self.edges.fingerprint, self.language)
        return f"{self._counted(press_id)}-{whole}"

    def _counted(self, press_id: int) -> str:
        return _digest(self.scopes[press_id].fingerprint, "", self.language)

    def can_take_over(self, press_id: int, fingerprint: str) -> bool:
        """Whether those items that were stored under a fingerprint and have no wear limit are what they would
        be now, and are not at hand: a gauge, which changes the limits of all presses, leaves them."""
        name = self._counted(press_id)
        return fingerprint.split("-")[0] == name and _BY_CONTENT.find(f"counted {name}") is None

    def take_over(self, press_id: int, fingerprint: str, items: tuple[DueItem, ...]) -> None:
        """Take those items over, where that can be done."""
        if self.can_take_over(press_id, fingerprint):
            limits = {rule.id for rule in self.ground.record.rules if LIMIT.is_used_by(rule)}
            others = tuple(item for item in items if item.rule_id not in limits)
            _BY_CONTENT.keep(f"counted {self._counted(press_id)}", others)

    def of_press(self, press_id: int) -> tuple[str, tuple[DueItem, ...]]:
        """The fingerprint of a press's items, and the items.

        Items of rules without a wear limit are cached separately, because a new gauge reading changes the
        fits of the whole fleet but does not affect them. Of several threads one works, the others wait."""
        with _BY_CONTENT.making:
            scope = self.scopes[press_id]
            name = self.fingerprint(press_id)
            counted = self._counted(press_id)

            @cache
            def board() -> Board:
                return Board(scope.record, self.edges, scope)

            at_limit = _BY_CONTENT.get(f"limits {name}", lambda: tuple(board().items_where(at_limit=True)))
            others = _BY_CONTENT.get(f"counted {counted}", lambda: tuple(board().items_where(at_limit=False)))
            return name, at_limit + others


def _digest(*pieces: str) -> str:
    return sha256(repr(pieces).encode()).hexdigest()[:31]  # two of them fit into one column


_GROUND: Cache[None, DayRecord] = Cache("the record of a day", most=1)
"""A record is large, so that only the latest one is kept."""


_SHARE: Cache[None, DayRecord] = Cache("the record of a day for a few presses", most=1)
"""Its edges are those of the presses asked for last."""


def forecast_of_day(*, as_of: date, press_ids: Collection[int] | None = None) -> Forecast:
    """Due items together with the record behind them, for pages that show both; the log is read once.

    press_ids: the presses whose items will be asked for (None: all); wear of others must not be."""
    return Forecast(_ground(as_of, press_ids), get_language() or "")


def _ground(as_of: date, press_ids: Collection[int] | None = None) -> DayRecord:
    """One thread works it out, and others that ask meanwhile wait for it."""
    with _GROUND.making:
        log = load_log()
        if not may_cache(log.versions.number):
            return DayRecord.of(log, as_of)
        kept = _GROUND.find(None)
        if kept is not None and kept.log is log and kept.record.as_of == as_of:
            return kept
        carried_on = kept is not None and kept.record.as_of == as_of and log.carries_on(kept.log)
        few = press_ids is not None and 2 * len(press_ids) <= len(log.setup.presses)
        if few and press_ids is not None and not carried_on:
            share = _share(log, as_of, press_ids)
            if share is not None:
                return share
        made = DayRecord.of(log, as_of, kept)
        if kept is not None and kept.record.as_of > as_of:  # a look back; today's is needed again at once
            return made
        _SHARE.clear()  # the whole has all of it
        return _GROUND.keep(None, made)


def _share(log: Log, as_of: date, press_ids: Collection[int]) -> DayRecord | None:
    """The ground of a day for these presses alone; None where what the fleet has taught is not stored."""
    kept = _SHARE.find(None)
    if kept is not None and kept.log is log and kept.record.as_of == as_of:
        record, scopes = kept.record, kept.scopes
    else:
        record = record_as_of(log, as_of, None if kept is None else (kept.log, kept.record))
        scopes = Scopes(record)
    parts = {part for press_id in press_ids for part in scopes.parts(press_id)}
    edges = own_edges(record, log.versions, parts)
    return None if edges is None else _SHARE.keep(None, DayRecord(log, record, edges, scopes))


def items_by_press(
    *, as_of: date, press_ids: Collection[int] | None = None, forecast: Forecast | None = None
) -> dict[int, tuple[DueItem, ...]]:
    """The items of these presses (None: of all), without their cautions: kept ones where they are valid,
    else stored ones, else computed, from the `forecast` of the day where it is at hand."""
    return _items_by_press(as_of, press_ids, forecast)[0]


def _items_by_press(
    as_of: date,
    press_ids: Collection[int] | None = None,
    forecast: Forecast | None = None,
    *,
    may_wait: bool = False,
) -> tuple[dict[int, tuple[DueItem, ...]], int]:
    """The items by press, and how many presses wait for a worker (`waiting`), where they may."""
    known, language = versions.latest(), get_language() or ""
    presses = list(known.every_press if press_ids is None else press_ids)
    found = _at_hand(presses, known, as_of, language) if may_cache(known.number) else {}
    missing = [press_id for press_id in presses if press_id not in found]
    earlier = _earlier(missing, known, as_of, language) if may_wait else {}
    found |= earlier
    missing = [press_id for press_id in missing if press_id not in earlier]
    if missing:
        now = forecast or forecast_of_day(as_of=as_of, press_ids=missing)
        number = now.ground.log.versions.number
        now.ground.read_together(missing)
        for press_id in missing:
            if press_id not in now.scopes:
                continue
            found[press_id] = now.of_press(press_id)[1]
            if may_cache(number):
                _KEPT.keep((press_id, as_of, language), (number, found[press_id]))
    return {press_id: found[press_id] for press_id in presses if press_id in found}, len(earlier)


def _earlier(
    missing: Collection[int], known: Versions, as_of: date, language: str
) -> dict[int, tuple[DueItem, ...]]:
    """The last items of presses that only lack what was learned a moment ago, if they are many."""
    tolerated = waiting.tolerated(known.lessons)
    if len(missing) <= waiting.FEW or not may_cache(known.number):
        return {}
    found = _at_hand(missing, replace(known, lessons=tolerated), as_of, language)
    return found if len(found) > waiting.FEW else {}


def _at_hand(
    presses: Collection[int], known: Versions, as_of: date, language: str
) -> dict[int, tuple[DueItem, ...]]:
    """Items that need not be computed and are valid by these versions, by press."""
    found: dict[int, tuple[DueItem, ...]] = {}
    since = {press_id: known.items_since(press_id) for press_id in presses}

    def add(press_id: int, number: int, items: tuple[DueItem, ...]) -> bool:
        valid = since[press_id]
        if valid is not None and number >= valid:
            found[press_id] = items
        return press_id in found

    for press_id in presses:
        kept = _KEPT.find((press_id, as_of, language))
        if kept is not None:
            add(press_id, *kept)
    missing = [press_id for press_id in presses if press_id not in found]
    if missing:
        stored = snapshots.stored(press_ids=missing, as_of=as_of, language=language)
        for press_id, (number, items) in stored.items():
            if add(press_id, number, items):
                _KEPT.keep((press_id, as_of, language), (number, items))
    return found


def due_items(*, as_of: date) -> list[DueItem]:
    """Every item of the forecast as the log stood at the end of the day, most urgent first, each with its
    caution. Reads only."""
    return with_their_cautions(items_without_cautions(as_of=as_of))


def items_without_cautions(
    *, as_of: date, press_ids: Collection[int] | None = None, forecast: Forecast | None = None
) -> list[DueItem]:
    """The items of these presses (None: of all), most urgent first, to count or to choose from.

    Their cautions are missing, so that they can't be shown: those that are shown must go through
    `with_their_cautions`."""
    by_press = items_by_press(as_of=as_of, press_ids=press_ids, forecast=forecast)
    return in_order(item for items in by_press.values() for item in items)


@dataclass(frozen=True)
class ItemsOfFleet:
    """The items of every press, most urgent first and without their cautions, and the number of presses whose
    items don't take in yet what was learned about wear in the last `waiting.LONGEST_S` seconds."""

    items: list[DueItem]
    behind: int


def items_of_fleet(*, as_of: date, press_ids: Collection[int] | None = None) -> ItemsOfFleet:
    """For pages about all presses, or about these: where they are many they are not worked out anew after a
    gauge, but the page shows what was known, says so, and leaves the work to a worker for a while."""
    by_press, behind = _items_by_press(as_of, press_ids, may_wait=True)
    return ItemsOfFleet(in_order(item for items in by_press.values() for item in items), behind)


def with_their_cautions(items: Iterable[DueItem], cautions: Cautions | None = None) -> list[DueItem]:
    """The items, each with its current caution; two queries, or none where the cautions of their presses are
    given."""
    return list(with_cautions(list(items), cautions))


def cached_items(*, as_of: date) -> dict[int, tuple[DueItem, ...]]:
    """The valid items, without their cautions, of the presses for which nothing has to be computed."""
    known = versions.latest()
    if not may_cache(known.number):
        return {}
    return _at_hand(known.every_press, known, as_of, get_language() or "")


def items_of_press(press_id: int, *, as_of: date) -> list[DueItem]:
    """The items of one press, most urgent first, each with its caution."""
    return with_their_cautions(items_without_cautions(as_of=as_of, press_ids=[press_id]))


def items_of_part(part_id: int, *, as_of: date, forecast: Forecast | None = None) -> list[DueItem]:
    """The items of one part, most urgent first, each with its caution; from the `forecast` of the day where
    it is at hand. They belong to the press on which the part was fitted last, so that nothing is computed for
    other presses."""
    now = forecast or forecast_of_day(as_of=as_of)
    presses = [press_id for press_id in now.scopes if part_id in now.scopes.parts(press_id)]
    items = items_without_cautions(as_of=as_of, press_ids=presses, forecast=now)
    return with_their_cautions(item for item in items if item.part_id == part_id)
