"""Hour meters and the hours of runs.

`hours_of_press` is the only place that decides how long a run pressed. `readings` decides which readings of a
meter are believed, `overlaps` how the runs through two barrels add up to the hours of one press.
"""

from wearlog.calc.meters.hours import (
    SAME_MOMENT_S,
    PressHours,
    Remark,
    Source,
    Stretches,
    hours_of_press,
)
from wearlog.calc.meters.overlaps import Pieces
from wearlog.calc.meters.readings import MARGIN, SLACK_H, Believed, clean_edges

__all__ = [
    "MARGIN",
    "SAME_MOMENT_S",
    "SLACK_H",
    "Believed",
    "Pieces",
    "PressHours",
    "Remark",
    "Source",
    "Stretches",
    "clean_edges",
    "hours_of_press",
]
