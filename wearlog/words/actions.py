"""The words for an action in the forms that lines and sentences need.

The verbs are in `service.models.Action`, the other forms in `service.spoken`, which `forecasts` uses too.
"""

from __future__ import annotations

from wearlog.service.models import Action
from wearlog.service.spoken import FORMS, RECURRING, noun_of

__all__ = ["action_word", "done_word", "noun_of", "recurring_word", "work_word"]


def work_word(action: str) -> str:
    """`flip`: the work within a sentence."""
    return str(Action(action).label)


def action_word(action: str) -> str:
    """`Flip`: the work as the first word of a line."""
    word = work_word(action)
    return word[:1].upper() + word[1:]


def done_word(action: str) -> str:
    """`Flipped`: what somebody says who has done it, on a button and in the log."""
    return str(FORMS[Action(action)].done)


def recurring_word(what: str) -> str:
    """`Polishing`, `Plugging`: recurring work or a recurring incident. KeyError for others."""
    return str(RECURRING[what])
