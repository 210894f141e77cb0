"""A mill for the tests of what is printed: a press with as many isolation points as a test asks for."""

from __future__ import annotations

from wearlog.equipment.models import Press
from wearlog.lockout.models import EnergySource

SOURCES = (
    ("Main motor", "electrical", "disconnect Q1 beside the door", "", "press start, then back to off"),
    ("Heater circuit", "thermal", "fuse F7 in the office", "wait until below 50 °C", "measure the head"),
    ("Feed auger", "rotation", "disconnect Q4 at the seed bin", "", "press its start, then back to off"),
    ("Cake conveyor", "rotation", "disconnect Q5 in the store", "", "press its start, then back to off"),
    ("Pressure behind the die", "pressure", "", "ease the head while warm", "nothing moves behind it"),
    ("Seed in the hopper", "gravity", "slide at the hopper shut", "empty the throat", "look in"),
    ("Drive capacitors", "electrical", "disconnect Q1", "wait the time on the drive", "the electrician"),
    ("Level switch", "electrical", "switch S9 on the panel", "", "no start within a minute of asking"),
    ("Tractor shaft", "rotation", "take the shaft off", "", "see that it lies beside the press"),
    ("Filter pump", "pressure", "disconnect Q8", "open the drain valve", "gauge at zero"),
)  # fmt: skip


def give_points(press: Press, number: int, *, place: str = "") -> None:
    """The press has exactly so many sources of energy; `place` goes on every place where one is isolated."""
    EnergySource.objects.filter(press=press).delete()
    for each in range(number):
        source, kind, where, release, verify = SOURCES[each % len(SOURCES)]
        again = f" {each // len(SOURCES) + 1}" if each >= len(SOURCES) else ""
        EnergySource.objects.create(
            press=press,
            source=source + again,
            kind=kind,
            isolate_at=f"{where} {place}".strip(),
            release_by=release,
            verify_by=verify,
        )
