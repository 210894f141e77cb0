"""The kinds of work and what each is like, from which other packages derive what they need.

One row says all of an action: its words, its effects on a part, what it can do to a person, whether the
press is opened for it, and what it needs. Only one other table names actions, since it goes by part kind too:
which work is offered (`service.offered`). Common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import TYPE_CHECKING

from django.db import models
from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy

from wearlog.equipment.kinds import Danger
from wearlog.people.tables import exhaustive

if TYPE_CHECKING:
    from django.utils.functional import _StrPromise


class Action(models.TextChoices):
    # Verbs; the context distinguishes them from the nouns, as in "the last polish", and from "clean" seed.
    INSPECT = "inspect", _("inspect")
    MEASURE = "measure", _("measure")
    CLEAN = "clean", pgettext_lazy("work to be done", "clean")
    POLISH = "polish", pgettext_lazy("work to be done", "polish")
    FLIP = "flip", pgettext_lazy("work to be done", "flip")
    TURN = "turn", pgettext_lazy("work to be done", "turn")
    REPLACE = "replace", _("replace")
    ADJUST = "adjust", _("adjust")
    LUBRICATE = "lubricate", _("lubricate")
    REAM = "ream", _("ream")
    HARD_FACE = "hard-face", _("hard-face")
    REBUILD = "rebuild", pgettext_lazy("work to be done", "rebuild")
    REPAIR = "repair", pgettext_lazy("work to be done", "repair")
    STORE = "store", _("store")


class Gauged(Enum):
    """When a part is gauged during the work."""

    ONCE = "once"
    BEFORE_AND_AFTER = "before and after, since the work changes the size"


class Opening(Enum):
    """Whether work requires the press to be opened, together with the location of the part."""

    NEVER = "done from outside, whatever the part"
    BY_PART = "open where the part lies behind the head; never for the press as a whole"
    ALSO_WHOLE = "open where the part lies behind the head, and for the press as a whole"


@dataclass(frozen=True, kw_only=True)
class Work:
    """The properties of an action.

    noun: as in "since the last flip"; done: begins a line, as in "Flipped". The verb is the action's label.
    gauged: when the part is gauged during the work; None where it is not.
    moves: the work ends the fitting of the part (and begins that of another edge, or of another part).
    takes_next_edge: the work puts an unused edge of the same part into use.
    renews: the edge begins a new life.
    shifts: the work takes off material, which gauges before and after it show.
    dangers: those of the work itself, possibly none; those of the press and of the part are added.
    opening: whether the head must come off for it.
    takes_tools: the tools for the part's kind are needed.
    material: what else the work uses up or needs; None where that is nothing.
    spared: the part leaves the press; a spare takes its place meanwhile, or if the work fails.
    """

    noun: _StrPromise
    done: _StrPromise
    gauged: Gauged | None
    moves: bool = False
    takes_next_edge: bool = False
    renews: bool = False
    shifts: bool = False
    dangers: tuple[Danger, ...]
    opening: Opening
    takes_tools: bool
    material: _StrPromise | None = None
    spared: bool = False

    @property
    def ends_life(self) -> bool:
        """Whether the work ends the edge's present life."""
        return self.moves or self.takes_next_edge or self.renews


ACTIONS = exhaustive(
    Action,
    {
        Action.INSPECT: Work(
            noun=_("inspection"),
            done=_("Inspected"),
            gauged=Gauged.ONCE,
            dangers=(),
            opening=Opening.BY_PART,
            takes_tools=False,
        ),
        Action.MEASURE: Work(
            noun=_("measurement"),
            done=_("Measured"),
            gauged=Gauged.ONCE,
            dangers=(),
            opening=Opening.BY_PART,
            takes_tools=False,
        ),
        Action.CLEAN: Work(
            noun=_("cleaning"),
            done=_("Cleaned"),
            gauged=None,
            dangers=(Danger.OILY_RAGS,),
            opening=Opening.ALSO_WHOLE,
            takes_tools=False,
            material=_("scrapers, brushes, a lidded metal bin for rags and cake"),
        ),
        Action.POLISH: Work(
            noun=_("polish"),
            done=_("Polished"),
            gauged=Gauged.BEFORE_AND_AFTER,
            shifts=True,
            dangers=(),
            opening=Opening.ALSO_WHOLE,
            takes_tools=True,
            material=_("polishing cloth and paste"),
        ),
        Action.FLIP: Work(
            noun=_("flip"),
            done=_("Flipped"),
            gauged=Gauged.ONCE,
            moves=True,
            takes_next_edge=True,
            dangers=(),
            opening=Opening.BY_PART,
            takes_tools=True,
        ),
        Action.TURN: Work(
            noun=_("turn"),
            done=_("Turned"),
            gauged=Gauged.ONCE,
            takes_next_edge=True,
            dangers=(),
            opening=Opening.BY_PART,
            takes_tools=True,
        ),
        Action.REPLACE: Work(
            noun=_("replacement"),
            done=_("Replaced"),
            gauged=Gauged.ONCE,
            moves=True,
            dangers=(),
            opening=Opening.BY_PART,
            takes_tools=True,
        ),
        Action.ADJUST: Work(
            noun=_("adjustment"),
            done=_("Adjusted"),
            gauged=Gauged.ONCE,
            dangers=(),
            opening=Opening.NEVER,
            takes_tools=False,
            material=_("shims and a feeler gauge"),
        ),
        Action.LUBRICATE: Work(
            noun=_("lubrication"),
            done=_("Lubricated"),
            gauged=None,
            dangers=(),
            opening=Opening.NEVER,
            takes_tools=False,
            material=_("the grease or oil that the maker names"),
        ),
        Action.REAM: Work(
            noun=_("reaming"),
            done=_("Reamed"),
            gauged=Gauged.BEFORE_AND_AFTER,
            dangers=(),
            opening=Opening.ALSO_WHOLE,
            takes_tools=True,
            material=_("the reamer of the next size, cutting oil"),
            spared=True,
        ),
        Action.HARD_FACE: Work(
            noun=_("hard-facing"),
            done=_("Hard-faced"),
            gauged=Gauged.BEFORE_AND_AFTER,
            renews=True,
            dangers=(Danger.HOT_WORK,),
            opening=Opening.ALSO_WHOLE,
            takes_tools=True,
            spared=True,
        ),
        Action.REBUILD: Work(
            noun=_("rebuild"),
            done=_("Rebuilt"),
            gauged=Gauged.BEFORE_AND_AFTER,
            renews=True,
            dangers=(Danger.HOT_WORK,),
            opening=Opening.ALSO_WHOLE,
            takes_tools=True,
            spared=True,
        ),
        Action.REPAIR: Work(
            noun=_("repair"),
            done=_("Repaired"),
            gauged=Gauged.BEFORE_AND_AFTER,
            dangers=(Danger.HOT_WORK,),
            opening=Opening.BY_PART,
            takes_tools=True,
            spared=True,
        ),
        Action.STORE: Work(
            noun=_("storing"),
            done=_("Stored"),
            gauged=None,
            dangers=(),
            opening=Opening.ALSO_WHOLE,
            takes_tools=False,
        ),
    },
)

MOVES = tuple(action for action in Action if ACTIONS[action].moves)
RENEWS = tuple(action for action in Action if ACTIONS[action].renews)
SHIFTS = tuple(action for action in Action if ACTIONS[action].shifts)
ENDS_LIFE = tuple(action for action in Action if ACTIONS[action].ends_life)
TAKES_NEXT_EDGE = tuple(action for action in Action if ACTIONS[action].takes_next_edge)


def noun_of(action: str) -> str:
    """`flip`, as in "since the last flip"."""
    return str(ACTIONS[action].noun)
