"""Energy sources, the mill's wording of cautions, the isolation record, and the yearly rules."""

from wearlog.lockout.models.energy import EnergyKind, EnergySource
from wearlog.lockout.models.isolation import Isolation, Lock, Off, ReleaseStatement
from wearlog.lockout.models.wording import CautionWording
from wearlog.lockout.models.yearly import Yearly, YearlyLook

__all__ = [
    "CautionWording",
    "EnergyKind",
    "EnergySource",
    "Isolation",
    "Lock",
    "Off",
    "ReleaseStatement",
    "Yearly",
    "YearlyLook",
]
