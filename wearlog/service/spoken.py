"""The forms of an action that sentences need, apart from its verb (`Action.label`): one row for each action.

They are on this floor because the sentences of `forecasts` need the nouns; pages and messages use
`words.actions` for all forms.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.utils.translation import gettext_lazy as _

from wearlog.people.tables import exhaustive
from wearlog.service.models import IncidentKind
from wearlog.service.work import Action

if TYPE_CHECKING:
    from django.utils.functional import _StrPromise


@dataclass(frozen=True)
class Spoken:
    """`noun` is used as in "since the last flip"; `done` begins a line, as in "Flipped"."""

    noun: _StrPromise
    done: _StrPromise


FORMS = exhaustive(
    Action,
    {
        Action.INSPECT: Spoken(_("inspection"), _("Inspected")),
        Action.MEASURE: Spoken(_("measurement"), _("Measured")),
        Action.CLEAN: Spoken(_("cleaning"), _("Cleaned")),
        Action.POLISH: Spoken(_("polish"), _("Polished")),
        Action.FLIP: Spoken(_("flip"), _("Flipped")),
        Action.TURN: Spoken(_("turn"), _("Turned")),
        Action.REPLACE: Spoken(_("replacement"), _("Replaced")),
        Action.ADJUST: Spoken(_("adjustment"), _("Adjusted")),
        Action.LUBRICATE: Spoken(_("lubrication"), _("Lubricated")),
        Action.REAM: Spoken(_("reaming"), _("Reamed")),
        Action.HARD_FACE: Spoken(_("hard-facing"), _("Hard-faced")),
        Action.REBUILD: Spoken(_("rebuild"), _("Rebuilt")),
        Action.REPAIR: Spoken(_("repair"), _("Repaired")),
        Action.STORE: Spoken(_("storing"), _("Stored")),
    },
)

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


def noun_of(action: str) -> str:
    """`flip`, as in "since the last flip"."""
    return str(FORMS[Action(action)].noun)
