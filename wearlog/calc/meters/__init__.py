"""Hour meters and the hours of runs.

`hours_of_press` is the one rule of how long a run pressed; `readings` says which readings of a meter can be
believed, `overlaps` how two barrels make the hours of one press.
"""

from wearlog.calc.meters.hours import (
    SAME_MOMENT_S,
    PressHours,
    Source,
    Stretches,
    Told,
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
    "Source",
    "Stretches",
    "Told",
    "clean_edges",
    "hours_of_press",
]
