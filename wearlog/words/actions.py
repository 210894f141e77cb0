"""The words for an action in the forms that lines and sentences need.

All forms but the first word of "Polishing comes faster" stand with the action (`service.work`), since the
sentences of `forecasts` need its noun.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.translation import gettext_lazy as _

from wearlog.service.models import IncidentKind
from wearlog.service.work import ACTIONS, Action, noun_of

if TYPE_CHECKING:
    from django.utils.functional import _StrPromise

__all__ = ["action_word", "done_word", "noun_of", "recurring_word", "work_word"]

RECURRING: dict[str, _StrPromise] = {
    Action.POLISH: _("Polishing"),
    Action.CLEAN: _("Cleaning"),
    Action.ADJUST: _("Adjusting"),
    Action.REPAIR: _("Repairing"),
    IncidentKind.PLUGGED: _("Plugging"),
    IncidentKind.TRIPPED: _("Tripping"),
}
"""Recurring work and incidents as the first word of a sentence, as in "Polishing comes faster each time":
those that `compare.repeats` analyses, and no others."""


def work_word(action: str) -> str:
    """`flip`: the work within a sentence."""
    return str(Action(action).label)


def action_word(action: str) -> str:
    """`Flip`: the work as the first word of a line."""
    word = work_word(action)
    return word[:1].upper() + word[1:]


def done_word(action: str) -> str:
    """`Flipped`: what somebody says who has done it, on a button and in the log."""
    return str(ACTIONS[action].done)


def recurring_word(what: str) -> str:
    """`Polishing`, `Plugging`: recurring work or a recurring incident. KeyError for others."""
    return str(RECURRING[what])
