"""What to bring to a task. Common practice, no source; a help for thinking, not a complete list."""

from __future__ import annotations

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from wearlog.calc import units
from wearlog.equipment.kinds import KINDS
from wearlog.forecasts.items import DueItem
from wearlog.service.work import ACTIONS, Action
from wearlog.words.kinds import noun_words


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
    kind, work = KINDS.get(item.kind), ACTIONS.get(item.action)
    takes_tools = work is not None and work.takes_tools
    if kind is not None and kind.tools is not None and takes_tools:
        things.append(str(kind.tools))
    if kind is not None and kind.gauge is not None:
        things.append(str(kind.gauge))
    if work is not None and work.material is not None:
        things.append(str(work.material))
    if takes_tools:
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
    if action in ACTIONS and ACTIONS[action].spared:
        return (_("a spare %(kind)s, %(size)s") if size else _("a spare %(kind)s")) % words
    return ""
