"""An action in the forms that sentences need beside its verb (`Action.label`): one row for each action.

It lies here, with the actions, since the sentences of `forecasts` need the nouns; pages and messages take all
forms from `words.actions`.
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
    """`noun` as in "since the last flip"; `done` begins a line: `Flipped`."""

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
"""What comes again on the same thing, as the first word of "Polishing comes faster each time": the works and
incidents that `compare.repeats` follows, and no other."""


def noun_of(action: str) -> str:
    """`flip`, as in "since the last flip"."""
    return str(FORMS[Action(action)].noun)
