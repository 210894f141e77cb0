"""One rule applied to one thing: the input of each of the rule's triggers."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from wearlog.forecasts.edges import Edges
from wearlog.forecasts.outlook import TENTH, Outlook, Path
from wearlog.forecasts.things import Thing, crops_of
from wearlog.forecasts.triggers import counting, why
from wearlog.forecasts.triggers.trips import Dates
from wearlog.history.record import Record
from wearlog.history.rows import RuleRow


@dataclass(frozen=True)
class Case:
    """One rule for one thing, with all the data that triggers use."""

    edges: Edges
    outlook: Outlook
    rule: RuleRow
    thing: Thing
    start: counting.Start

    @property
    def record(self) -> Record:
        return self.outlook.record

    @cached_property
    def crops(self) -> list[int] | None:
        """The crops that the thing's part is used for; None for all."""
        return crops_of(self.record.crops, self.thing.type)

    @cached_property
    def hours_path(self) -> Path | None:
        return self.outlook.hours_path(self.thing.press_id, self.crops)

    @cached_property
    def seed_path(self) -> Path | None:
        return self.outlook.seed_path(self.thing.press_id, self.thing.share, self.crops)

    @property
    def since(self) -> str:
        """The start of the count, in words."""
        at = self.start.at
        return why.since(
            self.start.service.action if self.start.service else "",
            None if at is None else self.record.day_of(at),
            self.record.as_of,
            of_part=self.thing.part is not None,
        )

    @property
    def since_instant(self) -> float:
        return float("-inf") if self.start.at is None else self.start.at

    def dates(self, path: Path | None, left: float) -> Dates:
        """The due, early and late day on which the remaining amount `left` is used up: early at a faster rate
        than expected, late at a slower one."""
        if path is None:
            return {"due": None, "early": None, "late": None}
        return {"due": path.day(left), "early": path.day(left, TENTH), "late": path.day(left, -TENTH)}

    def about(self, dates: Dates) -> str:
        if dates["due"] is None:
            return ""
        return why.about(dates["due"], dates["early"], dates["late"], self.record.as_of)
