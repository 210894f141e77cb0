"""What a person takes to the press for a task. Common practice, no source: a list to think with."""

from __future__ import annotations

from wearlog.calc import units
from wearlog.equipment.models import Kind
from wearlog.forecasts.items import DueItem
from wearlog.service.models import Action

GAUGES = {
    Kind.DIE: "pin gauges or a bore gauge",
    Kind.SCREW: "a micrometer, and chalk to number the flights",
    Kind.BARREL: "a drill shank as a pin for the holes, a bore gauge",
    Kind.FILTER: "a clean cloth",
    Kind.GEARBOX: "a clean jar for the oil",
    Kind.HEATER: "a second thermometer",
    Kind.BELT: "a rule for the slack",
}
BY_ACTION = {
    Action.POLISH: "polishing cloth and paste",
    Action.CLEAN: "scrapers, brushes, a lidded metal bin for rags and cake",
    Action.LUBRICATE: "the grease or oil that the maker names",
    Action.REAM: "the reamer of the next size, cutting oil",
    Action.ADJUST: "shims and a feeler gauge",
}
OPENS = {
    Action.FLIP,
    Action.TURN,
    Action.REPLACE,
    Action.POLISH,
    Action.REAM,
    Action.REBUILD,
    Action.REPAIR,
    Action.HARD_FACE,
}


def things_to_bring(item: DueItem) -> tuple[str, ...]:
    """Locks first, then gauge, material and paste, as far as action and part call for them."""
    points = len(item.caution.isolation_points)
    locks = f"{points} lock{'s' if points != 1 else ''}" if points else "a lock for every energy source"
    things = [f"your own lock and tag for each person: {locks}", "gloves, a thermometer"]
    if item.kind in GAUGES:
        things.append(GAUGES[Kind(item.kind)])
    if item.action in BY_ACTION:
        things.append(BY_ACTION[Action(item.action)])
    if item.action in OPENS:
        things.append("food-grade anti-seize for threads")
    if item.action == Action.REPLACE and item.size_mm is not None:
        things.append(f"the new {Kind(item.kind).label}, {units.show_length(item.size_mm)}")
    return tuple(things)
