"""The list of what to order as it is on a day, kept until something is written, and the one home of the last
day to order a part: pages and mails have it from here."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

from django.db import connection

from wearlog.compare.ledger import ledger
from wearlog.compare.shopping.lines import ShoppingList, shopping_list
from wearlog.forecasts.items import DueItem
from wearlog.forecasts.memory.queries import forecast_of_day, items_of_fleet
from wearlog.history.cache import Cache, VersionCache
from wearlog.people.models import Mill

_LISTS: VersionCache[date, ShoppingList] = VersionCache("what to order", most=2)
_LATEST: Cache[date, ShoppingList] = Cache("what was to be ordered last", most=1)
"""By day, the last list, whatever has been written since."""


def list_of_day(
    today: date, items: Iterable[DueItem] | None = None, *, may_be_behind: bool = False
) -> ShoppingList:
    """The list as of a day. items: the due items of every press, where the caller has them. may_be_behind:
    take the day's last list, whatever has been written since, for a page whose items are behind too."""
    if may_be_behind:
        latest = _LATEST.find(today)
        if latest is not None:
            return latest

    def make() -> ShoppingList:
        own = items_of_fleet(as_of=today).items if items is None else items
        known = forecast_of_day(as_of=today)
        known.ground.record.timelines_of(known.ground.record.presses)
        return shopping_list(known.ground.record, known.edges, ledger(), own, Mill.current())

    found = _LISTS.get(today, make, one_at_a_time=True)
    return found if connection.in_atomic_block else _LATEST.keep(today, found)


def days_to_order(found: ShoppingList) -> dict[int, date]:
    """By the primary key of a part on a press, the last day to order the one that takes its place; only of
    parts for which the list has a line with a lead time."""
    days: dict[int, date] = {}
    for line in found.lines:
        if line.by is not None and line.stock.terms.lead_days:
            for need in line.needs:
                days.setdefault(need.part.id, line.by)
    return days
