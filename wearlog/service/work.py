"""The kinds of work and their effects on a part, as used by forms, forecasts and comparisons."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from django.db import models
from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy

from wearlog.people.tables import exhaustive


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


@dataclass(frozen=True, kw_only=True)
class Work:
    """The properties of an action.

    gauged: when the part is gauged during the work; None where it is not.
    moves: the work ends the fitting of the part (and begins that of another edge, or of another part).
    takes_next_edge: the work puts an unused edge of the same part into use.
    renews: the edge begins a new life.
    shifts: the work takes off material, which gauges before and after it show.
    """

    gauged: Gauged | None
    moves: bool = False
    takes_next_edge: bool = False
    renews: bool = False
    shifts: bool = False

    @property
    def ends_life(self) -> bool:
        """Whether the work ends the edge's present life."""
        return self.moves or self.takes_next_edge or self.renews


ACTIONS = exhaustive(
    Action,
    {
        Action.INSPECT: Work(gauged=Gauged.ONCE),
        Action.MEASURE: Work(gauged=Gauged.ONCE),
        Action.CLEAN: Work(gauged=None),
        Action.POLISH: Work(gauged=Gauged.BEFORE_AND_AFTER, shifts=True),
        Action.FLIP: Work(gauged=Gauged.ONCE, moves=True, takes_next_edge=True),
        Action.TURN: Work(gauged=Gauged.ONCE, takes_next_edge=True),
        Action.REPLACE: Work(gauged=Gauged.ONCE, moves=True),
        Action.ADJUST: Work(gauged=Gauged.ONCE),
        Action.LUBRICATE: Work(gauged=None),
        Action.REAM: Work(gauged=Gauged.BEFORE_AND_AFTER),
        Action.HARD_FACE: Work(gauged=Gauged.BEFORE_AND_AFTER, renews=True),
        Action.REBUILD: Work(gauged=Gauged.BEFORE_AND_AFTER, renews=True),
        Action.REPAIR: Work(gauged=Gauged.BEFORE_AND_AFTER),
        Action.STORE: Work(gauged=None),
    },
)

MOVES = tuple(action for action in Action if ACTIONS[action].moves)
RENEWS = tuple(action for action in Action if ACTIONS[action].renews)
SHIFTS = tuple(action for action in Action if ACTIONS[action].shifts)
ENDS_LIFE = tuple(action for action in Action if ACTIONS[action].ends_life)
TAKES_NEXT_EDGE = tuple(action for action in Action if ACTIONS[action].takes_next_edge)
