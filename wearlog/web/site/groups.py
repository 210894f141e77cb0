"""Due items grouped by state for a page, most urgent first, with a limited number of each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from wearlog.forecasts.items import DueItem
from wearlog.forecasts.memory.queries import with_their_cautions
from wearlog.words.tasks import state_word

MOST = 20
"""How many items of one state are on a page; the forecast page lists them all."""


FIRST_COMING = 1
"""How many items that are coming up are shown; the others are collapsed. Items that are due never are."""


@dataclass(frozen=True)
class Group:
    """The first items of one state, by day, and how many there are."""

    state: str
    heading: str
    items: list[DueItem]
    count: int

    @property
    def more(self) -> int:
        return self.count - len(self.items)

    @property
    def first(self) -> list[DueItem]:
        """The items shown at once."""
        return self.items[:FIRST_COMING] if self.state == "coming" else self.items

    @property
    def then(self) -> list[DueItem]:
        """The collapsed items."""
        return self.items[len(self.first) :]


def group_of(items: Sequence[DueItem], state: str) -> Group | None:
    """The items in that state, or None where there are none."""
    members = sorted(
        (item for item in items if item.state == state),
        key=lambda item: (item.due_on or date.max, item.press, item.part),
    )
    if not members:
        return None
    return Group(state, state_word(state), members[:MOST], len(members))


def grouped(items: Sequence[DueItem]) -> list[Group]:
    """Overdue, due and coming up, in this order; empty groups are left out."""
    groups = (group_of(items, state) for state in ("overdue", "due", "coming"))
    return [group for group in groups if group is not None]


def cautioned(groups: Sequence[Group]) -> list[Group]:
    """The groups with the cautions of all their items; two queries."""
    items = iter(with_their_cautions(item for group in groups for item in group.items))
    return [replace(group, items=[next(items) for _ in group.items]) for group in groups]
