"""What to bring to a task. Common practice, no source; a help for thinking, not a complete list."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from wearlog.calc import units
from wearlog.equipment.kinds import KINDS
from wearlog.forecasts.items import DueItem
from wearlog.people.tables import exhaustive
from wearlog.service.work import Action
from wearlog.words.kinds import noun_words

if TYPE_CHECKING:
    from django.utils.functional import _StrPromise


@dataclass(frozen=True)
class Brought:
    """What an action needs, whatever the part.

    opens: the machine has to be opened, with the tools for the part's kind. spared: the part leaves the
    press; a spare takes its place meanwhile, or if the work fails."""

    opens: bool
    material: _StrPromise | None
    spared: bool = False


BY_ACTION = exhaustive(
    Action,
    {
        Action.INSPECT: Brought(False, None),
        Action.MEASURE: Brought(False, None),
        Action.CLEAN: Brought(False, gettext_lazy("scrapers, brushes, a lidded metal bin for rags and cake")),
        Action.POLISH: Brought(True, gettext_lazy("polishing cloth and paste")),
        Action.FLIP: Brought(True, None),
        Action.TURN: Brought(True, None),
        Action.REPLACE: Brought(True, None),
        Action.ADJUST: Brought(False, gettext_lazy("shims and a feeler gauge")),
        Action.LUBRICATE: Brought(False, gettext_lazy("the grease or oil that the maker names")),
        Action.REAM: Brought(True, gettext_lazy("the reamer of the next size, cutting oil"), spared=True),
        Action.HARD_FACE: Brought(True, None, spared=True),
        Action.REBUILD: Brought(True, None, spared=True),
        Action.REPAIR: Brought(True, None, spared=True),
        Action.STORE: Brought(False, None),
    },
)
NOTHING = Brought(False, None)


def things_to_bring(item: DueItem, system: str = "", *, name_size: bool = False) -> tuple[str, ...]:
    """Locks first, then tools, gauge, material, paste and the new or spare part, as action and part require.
    Sizes are in the units of `system`.

    name_size: include the part's size if nothing else on the list does; for messages, which do not show it
    elsewhere.
    """
    points = len(item.caution.isolation_points)
    locks = (
        ngettext("%(n)s lock", "%(n)s locks", points) % {"n": points}
        if points
        else _("a lock for every energy source")
    )
    things = [
        _("your own lock and tag for each person: %(locks)s") % {"locks": locks},
        _("gloves, a thermometer"),
    ]
    kind, action = KINDS.get(item.kind), BY_ACTION.get(item.action, NOTHING)
    if kind is not None and kind.tools is not None and action.opens:
        things.append(str(kind.tools))
    if kind is not None and kind.gauge is not None:
        things.append(str(kind.gauge))
    if action.material is not None:
        things.append(str(action.material))
    if action.opens:
        things.append(_("food-grade anti-seize for threads"))
    size = units.show_length(item.size_mm, system) if item.size_mm is not None else ""
    goes_on = "" if not item.kind else _goes_on(item.action, noun_words(item.kind), size)
    if goes_on:
        things.append(goes_on)
    elif name_size and item.kind and size:
        things.append(_("for the %(kind)s, %(size)s") % {"kind": noun_words(item.kind), "size": size})
    return tuple(things)


def _goes_on(action: str, kind: str, size: str) -> str:
    """The part that replaces the old one, for good or while that is worked on; empty where there is none."""
    words = {"kind": kind, "size": size}
    if action == Action.REPLACE:
        return (_("the new %(kind)s, %(size)s") if size else _("the new %(kind)s")) % words
    if BY_ACTION.get(action, NOTHING).spared:
        return (_("a spare %(kind)s, %(size)s") if size else _("a spare %(kind)s")) % words
    return ""
