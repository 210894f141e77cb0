"""What can hurt a person at a press, in which signal word, and which tasks meet it.

Signal words are used in the sense of ANSI Z535.4 (own words, from memory): DANGER for what *will* kill or
seriously injure, WARNING for what *could*, CAUTION for what could injure lightly or moderately, NOTICE for
what harms no person. Shipped texts use WARNING and CAUTION only: DANGER would be a judgement about one
machine, and NOTICE must not stand for an injury. With several hazards the highest word is the one shown.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum
from typing import TYPE_CHECKING

from django.utils.translation import gettext_lazy as _

if TYPE_CHECKING:
    from django.utils.functional import _StrPromise


class SignalWord(IntEnum):
    """In rising order of what can happen to a person."""

    CAUTION = 1
    WARNING = 2


@dataclass(frozen=True)
class Hazard:
    """One way of getting hurt: its signal word and the sentence that names it."""

    word: SignalWord
    sentence: _StrPromise


STARTS_BY_ITSELF = Hazard(
    SignalWord.WARNING,
    _(
        "The screw can start by itself (thermostat, level switch, timer, returning power) "
        "and crushes what it draws in."
    ),
)
TRAPPED_PRESSURE = Hazard(
    SignalWord.WARNING,
    _(
        "Pressure can stay behind a plugged die with the power off and throw out the plug, "
        "the die or the head."
    ),
)
OWN_HEATER_CIRCUIT = Hazard(
    SignalWord.WARNING,
    _("The heater is often on a circuit of its own and stays live with the motor off."),
)
HOT_HEAD = Hazard(SignalWord.CAUTION, _("Head, barrel and oil are hot and stay hot."))
BELTS_AND_GEARS = Hazard(
    SignalWord.WARNING,
    _("Belts, couplings and gears draw fingers in, even turned by hand."),
)
STORED_CHARGE = Hazard(
    SignalWord.WARNING,
    _("Motor drives keep an electric charge for minutes after they are switched off."),
)
FILTER_PRESSURE = Hazard(
    SignalWord.WARNING, _("The filter, its pump and its pipes can still be under pressure.")
)
HOT_WORK = Hazard(
    SignalWord.WARNING,
    _("Welding and grinding give harmful fume and sparks that light oil and dust: ask who must permit it."),
)
OILY_RAGS = Hazard(
    SignalWord.WARNING,
    _(
        "Rags and cake wet with drying oil can heat up and burn without a flame near them: "
        "spread them out to dry or put them into a metal bin with a lid."
    ),
)
SHARP_EDGES = Hazard(SignalWord.CAUTION, _("Worn edges, burrs and chips cut: wear gloves."))
HEAVY_PART = Hazard(
    SignalWord.CAUTION, _("The part is heavy and drops or rolls when free: hold it up first.")
)

AT_THE_PRESS = (STARTS_BY_ITSELF, TRAPPED_PRESSURE, OWN_HEATER_CIRCUIT, HOT_HEAD)
"""Met by every task at a press, whichever part it is about: the screw is never far."""

BY_KIND: dict[str, tuple[Hazard, ...]] = {
    "screw": (SHARP_EDGES, HEAVY_PART),
    "die": (SHARP_EDGES,),
    "barrel": (SHARP_EDGES, HEAVY_PART),
    "head": (HEAVY_PART,),
    "heater": (),
    "bearing": (BELTS_AND_GEARS,),
    "gearbox": (BELTS_AND_GEARS, HEAVY_PART),
    "belt": (BELTS_AND_GEARS,),
    "motor": (BELTS_AND_GEARS, STORED_CHARGE, HEAVY_PART),
    "magnet": (SHARP_EDGES,),
    "filter": (FILTER_PRESSURE,),
    "other": (),
    "": (),
}

BY_ACTION: dict[str, tuple[Hazard, ...]] = {
    "clean": (OILY_RAGS,),
    "hard-face": (HOT_WORK,),
    "rebuild": (HOT_WORK,),
    "repair": (HOT_WORK,),
}


def hazards_of(*, action: str, kind: str, on_press: bool = True) -> tuple[Hazard, ...]:
    """What a task meets, the worst first, each once.

    `kind` is a part kind or empty for the press as a whole; an unknown kind or action meets the hazards of
    every press. `on_press` is False for work on a part that lies on the bench.
    """
    met = (*(AT_THE_PRESS if on_press else ()), *BY_KIND.get(kind, ()), *BY_ACTION.get(action, ()))
    if not met:
        met = (SHARP_EDGES,)
    return tuple(sorted(dict.fromkeys(met), key=lambda hazard: -hazard.word))


def signal_word_of(hazards: tuple[Hazard, ...]) -> SignalWord:
    """The highest word among the hazards."""
    return max(hazard.word for hazard in hazards)
