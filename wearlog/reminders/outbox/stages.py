"""Which stage a due item is in on a day. Pure.

An item is in one stage at a time: the one that began last. *Coming up* begins `lead_days` before the
early day, *order* on the day by which a new part must be ordered to be there on the early day.
"""

from __future__ import annotations

import math
from datetime import date, timedelta

from wearlog.forecasts.items import DueItem
from wearlog.forecasts.triggers.all import BY_NAME
from wearlog.forecasts.triggers.trigger import COUNTED_OVERDUE_DAYS
from wearlog.reminders.models import Stage

OVERDUE_WEEKS = 4
"""How many single mails, a week apart, say that an item is overdue; after that only lists include it."""

WEEK_DAYS = 7


def stage_of(item: DueItem, *, today: date, order_on: date | None = None) -> Stage | None:
    """The item's stage, or None before the first one. `order_on`: the last day to order a part
    for it, None where none is needed."""
    if item.state in (Stage.DUE, Stage.OVERDUE):
        return Stage(item.state)
    begun = []
    if order_on is not None and order_on <= today:
        begun.append((order_on, 1, Stage.ORDER))
    if item.state == Stage.COMING and item.early_on is not None:
        begun.append((item.early_on - timedelta(days=math.floor(item.lead_days)), 0, Stage.COMING))
    return max(begun)[2] if begun else None


def overdue_week(item: DueItem, *, today: date) -> int:
    """1 in the first seven days of being overdue, 2 in the next seven, and so on; 0 where it is not."""
    if item.state != Stage.OVERDUE or item.due_on is None:
        return 0
    after = BY_NAME[item.trigger].overdue_after(due=item.due_on, late=item.late_on)
    if after is None:
        after = item.due_on + timedelta(days=COUNTED_OVERDUE_DAYS)
    return max(0, (today - after).days - 1) // WEEK_DAYS + 1


def telling_of(stage: Stage, *, week: int = 0, after_hold: int | None = None) -> str:
    """The stage as in a message's key: `coming`, `overdue 3`, `due after 12` once the hold-back with id 12 is
    over, so that it is sent again then."""
    words = [str(stage.value)]
    if week > 1:
        words.append(str(week))
    if after_hold is not None:
        words.append(f"after {after_hold}")
    return " ".join(words)
