"""Proposals for the energy sources of a new press, by its build. They say nothing about an actual machine.

From common practice, without a published source. Somebody who walks round the machine has to find out which
of them it has and where each is isolated; a proposal is recorded only with that filled in.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from wearlog.equipment.kinds import Build as Build
from wearlog.lockout.models import EnergyKind

if TYPE_CHECKING:
    from django.utils.functional import _StrPromise


@dataclass(frozen=True)
class Proposal:
    """An energy source that presses of a build often have.

    `where` asks for the isolation point, which only a look at the machine can tell; `release` and `verify`
    are texts to keep or change. `key` names its row in a form.
    """

    key: str
    source: _StrPromise
    kind: EnergyKind
    where: _StrPromise
    release: _StrPromise
    verify: _StrPromise


MOTOR = Proposal(
    "motor",
    _("Main motor"),
    EnergyKind.ELECTRICAL,
    _("Which disconnect takes a lock, and where is it?"),
    _("wait until the screw stands still"),
    _("try the start; nothing turns; control back to off"),
)
HEATER = Proposal(
    "heater",
    _("Heater circuit"),
    EnergyKind.ELECTRICAL,
    _("Often a circuit of its own: which breaker, in which cabinet?"),
    _("what is hot stays hot: see the heat"),
    _("call for heat; the heater's lamp stays dark and the temperature falls"),
)
FEED = Proposal(
    "feed",
    _("Feed auger, started elsewhere"),
    EnergyKind.ELECTRICAL,
    _("Which disconnect is the auger's own, and who else can start it?"),
    _("run it empty, then close the slide before the press"),
    _("try the start at the place it is started from; back to off"),
)
CAKE = Proposal(
    "cake",
    _("Cake conveyor, started elsewhere"),
    EnergyKind.ELECTRICAL,
    _("Which disconnect is the conveyor's own, and who else can start it?"),
    _("run it empty; hold what hangs on a slope"),
    _("try the start at the place it is started from; back to off"),
)
PRESSURE = Proposal(
    "pressure",
    _("Pressure behind the die"),
    EnergyKind.PRESSURE,
    _("Which bolts or ring let it go, and where does nobody stand?"),
    _("stand aside; loosen evenly and slowly, as the maker says; never with the motor"),
    _("head and die sit loose and nothing pushes; look again after every turn"),
)
HEAT = Proposal(
    "heat",
    _("Heat in head, barrel and oil"),
    EnergyKind.THERMAL,
    _("What stays hot, and where is the thermometer held?"),
    _("let it cool; to open it warm: heater isolated, temperature measured, gloves on"),
    _("measure the head and write down the temperature"),
)
DRIVE = Proposal(
    "drive",
    _("Charge in the motor drive"),
    EnergyKind.ELECTRICAL,
    _("Which disconnect stands before the drive, and where is the drive?"),
    _("wait as long as the drive's label says; its cabinet is for a licensed electrician"),
    _("display and lamps are dark after that wait; measuring is for a licensed electrician"),
)
RESTART = Proposal(
    "restart",
    _("Automatic restart (thermostat, level switch, timer, power return)"),
    EnergyKind.OTHER,
    _("What can start it without a person, and which lock stops that too?"),
    _("turn automatic operation off at its selector before the lock goes on"),
    _("with everybody clear, make it call for a start; nothing moves"),
)
SHAFT = Proposal(
    "shaft",
    _("Tractor shaft or generator"),
    EnergyKind.ROTATION,
    _("Which tractor or generator, and who keeps its key?"),
    _("engine off, key out, shaft taken off; wait until it stands still"),
    _("the shaft is off, and the engine does not start without the key"),
)
HOPPER = Proposal(
    "hopper",
    _("Seed in the hopper"),
    EnergyKind.GRAVITY,
    _("Which slide holds it, and with which pin?"),
    _("close and pin the slide, or empty the hopper"),
    _("nothing trickles into the feed"),
)
HEAVY = Proposal(
    "heavy",
    _("Heavy screw, head or barrel"),
    EnergyKind.GRAVITY,
    _("Which stand, hoist or blocks carry it?"),
    _("take up its weight before the last bolt"),
    _("nothing shifts when it is rocked"),
)
CHOKE = Proposal(
    "choke",
    _("Hydraulic or spring choke"),
    EnergyKind.PRESSURE,
    _("Which valve or nut lets its pressure go?"),
    _("let the oil back or ease the spring, as the maker says"),
    _("the gauge shows nothing and the cone moves by hand"),
)
SECOND_MOTOR = replace(MOTOR, key="motor-2", source=_("Main motor, second barrel"))
SECOND_HEATER = replace(HEATER, key="heater-2", source=_("Heater circuit, second head"))
SECOND_PRESSURE = replace(PRESSURE, key="pressure-2", source=_("Pressure behind the second die"))
CAGE_PRESSURE = replace(PRESSURE, source=_("Pressure in cage and choke ring"))

EVERYWHERE = (FEED, CAKE, HEAT, DRIVE, RESTART, SHAFT, HOPPER, HEAVY)
"""Proposed for every build; a press without such a source leaves it out."""

PROPOSALS: dict[Build, tuple[Proposal, ...]] = {
    Build.HOLE_CYLINDER: (MOTOR, HEATER, PRESSURE, *EVERYWHERE),
    Build.CAGE: (MOTOR, HEATER, CAGE_PRESSURE, CHOKE, *EVERYWHERE),
    Build.TWIN: (MOTOR, SECOND_MOTOR, HEATER, SECOND_HEATER, PRESSURE, SECOND_PRESSURE, *EVERYWHERE),
}


def proposals_for(build: Build, *, recorded: Iterable[str] = ()) -> tuple[Proposal, ...]:
    """The proposals for that build, without those whose names are in `recorded`."""
    taken = {name.casefold() for name in recorded}
    return tuple(each for each in PROPOSALS[build] if str(each.source).casefold() not in taken)


def say_where(source: str) -> str:
    """What is said where a source is ticked without the place at which it is isolated."""
    return gettext("%(source)s: say where, or untick it. Only what was looked at is recorded.") % {
        "source": source
    }


def tick_it() -> str:
    """What is said where such a place stands at a source that is not ticked."""
    return gettext("You wrote where it is isolated. Tick it to record it.")
