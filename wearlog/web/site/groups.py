"""Due items by state, as a page lists them: the most pressing first, and not all at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from wearlog.forecasts.items import DueItem
from wearlog.words.tasks import state_word

MOST = 20
"""Items of one state on a page; the list of what is due has the rest."""


FIRST_COMING = 1
"""So many items that are coming up stand open; the others can wait behind a fold, what is due can't."""


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
        """Those that stand open on the page."""
        return self.items[:FIRST_COMING] if self.state == "coming" else self.items

    @property
    def then(self) -> list[DueItem]:
        """Those that open by a touch."""
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
