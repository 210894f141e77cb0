"""What can hurt a person at a press, with which signal word, and to which tasks each hazard applies.

Signal words are used in the sense of ANSI Z535.4 (own words, from memory): DANGER for what *will* kill or
seriously injure, WARNING for what *could*, CAUTION for what could injure lightly or moderately, NOTICE for
what harms no person. Shipped texts use WARNING and CAUTION only. DANGER is a judgement about one machine: the
owner of the mill sets it, for one press. NOTICE is not used here, since it must not be used for injuries.
With several hazards the highest word is the one shown.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import IntEnum
from functools import cache
from typing import TYPE_CHECKING

from django.utils.translation import gettext_lazy as _

from wearlog.equipment.kinds import KINDS, Danger, Kind
from wearlog.people.tables import exhaustive
from wearlog.service.work import ACTIONS, Action

if TYPE_CHECKING:
    from django.utils.functional import _StrPromise


class SignalWord(IntEnum):
    """Signal words in rising order of severity."""

    CAUTION = 1
    WARNING = 2
    DANGER = 3


WORDS = {"DANGER": _("DANGER"), "WARNING": _("WARNING"), "CAUTION": _("CAUTION")}


def shown_word(word: str) -> str:
    """A signal word in the active language. Records and cautions store the English one as code."""
    return str(WORDS.get(word, word))


@dataclass(frozen=True)
class Hazard:
    """One way of getting hurt: its signal word and the sentence that names it.

    `key` names it in the log; `least` is the part of the sentence that the mill's own wording can't remove;
    `short` is its name in lists of tasks, where the full sentence is collapsed.
    """

    key: str
    word: SignalWord
    sentence: _StrPromise
    least: _StrPromise
    short: _StrPromise


STARTS_BY_ITSELF = Hazard(
    "starts-by-itself",
    SignalWord.WARNING,
    _(
        "The screw can start by itself (thermostat, level switch, timer, returning power) "
        "and crushes what it draws in."
    ),
    _("The screw can start by itself."),
    _("can start by itself"),
)
TRAPPED_PRESSURE = Hazard(
    "trapped-pressure",
    SignalWord.WARNING,
    _(
        "Pressure can stay behind a plugged die with the power off and throw out the plug, "
        "the die or the head."
    ),
    _("Pressure can stay behind a plugged die with the power off."),
    _("pressure behind the die"),
)
OWN_HEATER_CIRCUIT = Hazard(
    "heater-circuit",
    SignalWord.WARNING,
    _("The heater is often on a circuit of its own and stays live with the motor off."),
    _("The heater can be live with the motor off."),
    _("live heater"),
)
HOT_HEAD = Hazard(
    "hot-head",
    SignalWord.CAUTION,
    _("Head, barrel and oil are hot and stay hot."),
    _("Head, barrel and oil are hot."),
    _("hot head and oil"),
)
BELTS_AND_GEARS = Hazard(
    "belts-and-gears",
    SignalWord.WARNING,
    _("Belts, couplings and gears draw fingers in, even turned by hand."),
    _("Belts, couplings and gears draw fingers in."),
    _("draws fingers in"),
)
STORED_CHARGE = Hazard(
    "stored-charge",
    SignalWord.WARNING,
    _("Motor drives keep an electric charge for minutes after they are switched off."),
    _("Motor drives keep a charge when switched off."),
    _("drive keeps a charge"),
)
FILTER_PRESSURE = Hazard(
    "filter-pressure",
    SignalWord.WARNING,
    _("The filter, its pump and its pipes can still be under pressure."),
    _("The filter can be under pressure."),
    _("filter under pressure"),
)
HOT_WORK = Hazard(
    "hot-work",
    SignalWord.WARNING,
    _("Welding and grinding give harmful fume and sparks that light oil and dust: ask who must permit it."),
    _("Welding and grinding give fume and sparks."),
    _("fume and sparks"),
)
OILY_RAGS = Hazard(
    "oily-rags",
    SignalWord.WARNING,
    _(
        "Rags and cake wet with drying oil can heat up and burn without a flame near them: "
        "spread them out to dry or put them into a metal bin with a lid."
    ),
    _("Rags and cake with drying oil can burn without a flame near them."),
    _("oily rags can burn"),
)
SHARP_EDGES = Hazard(
    "sharp-edges",
    SignalWord.CAUTION,
    _("Worn edges, burrs and chips cut: wear gloves."),
    _("Edges and chips cut."),
    _("cuts"),
)
HEAVY_PART = Hazard(
    "heavy-part",
    SignalWord.CAUTION,
    _("The part is heavy and drops or rolls when free: hold it up first."),
    _("The part is heavy."),
    _("heavy part"),
)

ALL = (
    STARTS_BY_ITSELF,
    TRAPPED_PRESSURE,
    OWN_HEATER_CIRCUIT,
    BELTS_AND_GEARS,
    STORED_CHARGE,
    FILTER_PRESSURE,
    HOT_WORK,
    OILY_RAGS,
    HOT_HEAD,
    SHARP_EDGES,
    HEAVY_PART,
)
"""Every hazard, the most severe signal word first."""

AT_THE_PRESS = (STARTS_BY_ITSELF, TRAPPED_PRESSURE, OWN_HEATER_CIRCUIT, HOT_HEAD)
"""Hazards of every task at a press, whichever part it is about, since the screw is always near."""

OF_DANGER = {
    Danger.CUTS: SHARP_EDGES,
    Danger.HEAVY: HEAVY_PART,
    Danger.DRAWS_IN: BELTS_AND_GEARS,
    Danger.KEEPS_CHARGE: STORED_CHARGE,
    Danger.UNDER_PRESSURE: FILTER_PRESSURE,
    Danger.HOT_WORK: HOT_WORK,
    Danger.OILY_RAGS: OILY_RAGS,
}

BY_KIND: Mapping[str, tuple[Hazard, ...]] = exhaustive(
    Kind, {kind: tuple(OF_DANGER[danger] for danger in KINDS[kind].dangers) for kind in Kind}
)
"""The hazards that a part adds, by the dangers of its kind (`equipment.kinds`)."""

BY_ACTION: Mapping[str, tuple[Hazard, ...]] = exhaustive(
    Action, {action: tuple(OF_DANGER[danger] for danger in ACTIONS[action].dangers) for action in Action}
)
"""The hazards that an action adds, by the dangers of such work (`service.work`)."""


@cache
def hazards_of(*, action: str, kind: str, on_press: bool = True) -> tuple[Hazard, ...]:
    """The hazards of a task, the most severe first, each once.

    `kind` is a part kind or empty for the press as a whole; an unknown kind or action has the hazards of
    every press. `on_press` is False for work on a part that lies on the bench.
    """
    met = (*(AT_THE_PRESS if on_press else ()), *BY_KIND.get(kind, ()), *BY_ACTION.get(action, ()))
    if not met:
        met = (SHARP_EDGES,)
    return tuple(sorted(dict.fromkeys(met), key=lambda hazard: -hazard.word))


def hazard_of(key: str) -> Hazard | None:
    """The hazard with that key, or None."""
    return next((hazard for hazard in ALL if hazard.key == key), None)


def signal_word_of(hazards: tuple[Hazard, ...]) -> SignalWord:
    """The most severe signal word among the hazards."""
    return max(hazard.word for hazard in hazards)
