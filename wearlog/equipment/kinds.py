"""The kinds of parts and their properties, from which other packages derive what they need.

Only two packages keep a table by kind of their own, for what can't be derived: which work is offered
(`service.offered`), and where a kind is drawn (`web.drawing.press`). Common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import TYPE_CHECKING

from django.db import models
from django.utils.translation import gettext_lazy as _

from wearlog.people.tables import exhaustive

if TYPE_CHECKING:
    from django.utils.functional import _StrPromise


class Kind(models.TextChoices):
    SCREW = "screw", _("screw")
    WORM = "worm", _("worm")
    SHAFT = "shaft", _("shaft")
    DIE = "die", _("die")
    CHOKE = "choke", _("choke")
    BARREL = "barrel", _("barrel")
    CAGE_BAR = "cage_bar", _("cage bar")
    HEAD = "head", _("head")
    HEATER = "heater", _("heater")
    BEARING = "bearing", _("bearing")
    GEARBOX = "gearbox", _("gearbox")
    BELT = "belt", _("belt")
    MOTOR = "motor", _("motor")
    MAGNET = "magnet", _("magnet")
    FILTER = "filter", _("filter")
    OTHER = "other", _("other")


class Build(models.TextChoices):
    """How a press is built: what its oil leaves by, and how many barrels it has."""

    HOLE_CYLINDER = "hole-cylinder", _("hole-cylinder press")
    CAGE = "cage", _("cage press")
    TWIN = "twin", _("twin press")


WITH_BARREL = (Build.HOLE_CYLINDER, Build.TWIN)
WITH_CAGE = (Build.CAGE,)
EVERY_BUILD = tuple(Build)


class Danger(Enum):
    """How a part, or the work on it, can hurt a person, in addition to the hazards of every press. `lockout`
    puts it into words."""

    CUTS = "worn edges, burrs, chips"
    HEAVY = "drops or rolls when free"
    DRAWS_IN = "turns with what it drives, even by hand"
    KEEPS_CHARGE = "stays charged when switched off"
    UNDER_PRESSURE = "can be under pressure with the press at rest"
    HOT_WORK = "welding or grinding: fume and sparks"
    OILY_RAGS = "rags and cake wet with oil heat up by themselves"


class Loss(Enum):
    """By what oil left in the cake and slower pressing tell of the wear of a part."""

    OWN_LIFE = "its own life"
    ON_PRESS = "all edges of its type on a press, since one is too short-lived to tell"


@dataclass(frozen=True, kw_only=True)
class KindOf:
    """The properties of the parts of a kind.

    dangers: those of the part itself, possibly none; the hazards of every press are added.
    behind_head: the head must come off to reach it.
    ground_by_seed: the seed wears it, and the press can't work without it.
    loss: by what lost oil and time tell of its wear; None where they don't.
    builds: the builds of which a new press gets a position for it, or several where they are usual there
    (`pieces`); in_each_barrel: a press with two barrels gets one for each.
    tools: what is needed to open the machine for it; gauge: what measures or tests it. None where the kind
    needs nothing special.
    """

    dangers: tuple[Danger, ...]
    behind_head: bool = False
    ground_by_seed: bool = False
    loss: Loss | None = None
    builds: tuple[Build, ...] = EVERY_BUILD
    pieces: int = 1
    in_each_barrel: bool = False
    tools: _StrPromise | None
    gauge: _StrPromise | None


KINDS = exhaustive(
    Kind,
    {
        Kind.SCREW: KindOf(
            dangers=(Danger.CUTS, Danger.HEAVY),
            behind_head=True,
            ground_by_seed=True,
            loss=Loss.OWN_LIFE,
            builds=WITH_BARREL,
            in_each_barrel=True,
            tools=_("spanners for the head, a puller, a stand to lay the screw on"),
            gauge=_("a micrometer, and chalk to number the flights"),
        ),
        Kind.WORM: KindOf(
            dangers=(Danger.CUTS, Danger.HEAVY),
            behind_head=True,
            ground_by_seed=True,
            builds=WITH_CAGE,
            pieces=3,
            tools=_("spanners for the choke, a puller for the shaft, a stand to lay it on"),
            gauge=_("a micrometer, and chalk to number the worms"),
        ),
        Kind.SHAFT: KindOf(
            dangers=(Danger.HEAVY,),
            behind_head=True,
            builds=WITH_CAGE,
            tools=_("spanners for the choke, a puller for the shaft, a stand to lay it on"),
            gauge=_("a dial gauge for its run-out"),
        ),
        Kind.DIE: KindOf(
            dangers=(Danger.CUTS,),
            behind_head=True,
            ground_by_seed=True,
            loss=Loss.ON_PRESS,
            builds=WITH_BARREL,
            in_each_barrel=True,
            tools=_("spanners for the head, a soft drift"),
            gauge=_("pin gauges or a bore gauge"),
        ),
        Kind.CHOKE: KindOf(
            dangers=(Danger.CUTS, Danger.HEAVY),
            behind_head=True,
            ground_by_seed=True,
            builds=WITH_CAGE,
            tools=_("spanners for the choke, something to hold its weight"),
            gauge=_("feeler gauges, or a rule for how far the cone stands out"),
        ),
        Kind.BARREL: KindOf(
            dangers=(Danger.CUTS, Danger.HEAVY),
            behind_head=True,
            loss=Loss.OWN_LIFE,
            builds=WITH_BARREL,
            in_each_barrel=True,
            tools=_("spanners for the barrel, something to hold its weight"),
            gauge=_("a drill shank as a pin for the holes, a bore gauge"),
        ),
        Kind.CAGE_BAR: KindOf(
            dangers=(Danger.CUTS, Danger.HEAVY),
            behind_head=True,
            ground_by_seed=True,
            builds=WITH_CAGE,
            tools=_("spanners for the cage, blocks to lay its half on"),
            gauge=_("feeler gauges for the gaps"),
        ),
        Kind.HEAD: KindOf(
            dangers=(Danger.HEAVY,),
            behind_head=True,
            builds=WITH_BARREL,
            in_each_barrel=True,
            tools=_("spanners for the head, something to hold its weight"),
            gauge=None,
        ),
        Kind.HEATER: KindOf(dangers=(), in_each_barrel=True, tools=None, gauge=_("a second thermometer")),
        Kind.BEARING: KindOf(dangers=(Danger.DRAWS_IN,), tools=_("a puller, clean cloths"), gauge=None),
        Kind.GEARBOX: KindOf(
            dangers=(Danger.DRAWS_IN, Danger.HEAVY),
            tools=_("a tray for the old oil"),
            gauge=_("a clean jar for the oil"),
        ),
        Kind.BELT: KindOf(
            dangers=(Danger.DRAWS_IN,),
            tools=_("spanners for the tensioner"),
            gauge=_("a rule for the slack"),
        ),
        Kind.MOTOR: KindOf(
            dangers=(Danger.DRAWS_IN, Danger.KEEPS_CHARGE, Danger.HEAVY), tools=None, gauge=None
        ),
        Kind.MAGNET: KindOf(dangers=(Danger.CUTS,), tools=None, gauge=None),
        Kind.FILTER: KindOf(
            dangers=(Danger.UNDER_PRESSURE,), builds=(), tools=None, gauge=_("a clean cloth")
        ),
        Kind.OTHER: KindOf(dangers=(), builds=(), tools=None, gauge=None),
    },
)

GROUND_BY_SEED = tuple(kind for kind in Kind if KINDS[kind].ground_by_seed)
"""Screws and dies, and what a cage press has instead, which most work at a press is about."""
LEAVES_OIL = tuple(kind for kind in Kind if KINDS[kind].loss)
"""Parts whose wear leaves oil in the cake or slows the press."""
