"""Which work is offered for the part at a position, and for a press as a whole; the most usual first.

Common practice, no source.
"""

from __future__ import annotations

from wearlog.equipment.kinds import Kind
from wearlog.equipment.models import Fitting
from wearlog.people.tables import exhaustive
from wearlog.service.work import Action

FOR_ANY_PART = (Action.INSPECT, Action.CLEAN, Action.MEASURE, Action.ADJUST, Action.REPAIR, Action.REPLACE)
FOR_KIND = exhaustive(
    Kind,
    {
        Kind.DIE: (
            Action.FLIP,
            Action.REPLACE,
            Action.MEASURE,
            Action.POLISH,
            Action.CLEAN,
            Action.INSPECT,
            Action.REAM,
        ),
        Kind.SCREW: (
            Action.POLISH,
            Action.INSPECT,
            Action.MEASURE,
            Action.CLEAN,
            Action.REPLACE,
            Action.HARD_FACE,
            Action.REBUILD,
            Action.REPAIR,
        ),
        Kind.BARREL: (
            Action.CLEAN,
            Action.INSPECT,
            Action.MEASURE,
            Action.TURN,
            Action.REPLACE,
            Action.REPAIR,
            Action.REBUILD,
        ),
        Kind.WORM: (
            Action.INSPECT,
            Action.MEASURE,
            Action.CLEAN,
            Action.REPLACE,
            Action.HARD_FACE,
            Action.REBUILD,
            Action.REPAIR,
        ),
        Kind.SHAFT: FOR_ANY_PART,
        Kind.CHOKE: (
            Action.ADJUST,
            Action.MEASURE,
            Action.CLEAN,
            Action.INSPECT,
            Action.REPLACE,
            Action.HARD_FACE,
            Action.REBUILD,
            Action.REPAIR,
        ),
        Kind.CAGE_BAR: (
            Action.CLEAN,
            Action.INSPECT,
            Action.MEASURE,
            Action.TURN,
            Action.ADJUST,
            Action.REPLACE,
            Action.REPAIR,
        ),
        Kind.BELT: (Action.INSPECT, Action.ADJUST, Action.REPLACE),
        Kind.GEARBOX: (Action.LUBRICATE, Action.INSPECT, Action.REPAIR, Action.REPLACE),
        Kind.BEARING: (Action.LUBRICATE, Action.INSPECT, Action.REPLACE),
        Kind.HEAD: FOR_ANY_PART,
        Kind.HEATER: FOR_ANY_PART,
        Kind.MOTOR: FOR_ANY_PART,
        Kind.MAGNET: FOR_ANY_PART,
        Kind.FILTER: FOR_ANY_PART,
        Kind.OTHER: FOR_ANY_PART,
    },
)
FOR_PRESS = (
    Action.CLEAN,
    Action.INSPECT,
    Action.LUBRICATE,
    Action.ADJUST,
    Action.REPAIR,
    Action.STORE,
)


def actions_for(kind: str, fitting: Fitting | None) -> list[Action]:
    """The work offered for a position of this kind and the part on it (None: empty), the most usual first."""
    offered = FOR_KIND.get(kind, FOR_ANY_PART)
    if fitting is None:
        return [action for action in offered if action in (Action.CLEAN, Action.INSPECT)]
    return [action for action in offered if action != Action.FLIP or fitting.part.part_type.edges > 1]
