"""What to bring to a task. Common practice, no source: a list to think with."""

from __future__ import annotations

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from wearlog.calc import units
from wearlog.equipment.models import Kind
from wearlog.forecasts.items import DueItem
from wearlog.service.models import Action
from wearlog.words.kinds import noun_words

GAUGES = {
    Kind.DIE: gettext_lazy("pin gauges or a bore gauge"),
    Kind.SCREW: gettext_lazy("a micrometer, and chalk to number the flights"),
    Kind.BARREL: gettext_lazy("a drill shank as a pin for the holes, a bore gauge"),
    Kind.FILTER: gettext_lazy("a clean cloth"),
    Kind.GEARBOX: gettext_lazy("a clean jar for the oil"),
    Kind.HEATER: gettext_lazy("a second thermometer"),
    Kind.BELT: gettext_lazy("a rule for the slack"),
}
TOOLS = {
    Kind.DIE: gettext_lazy("spanners for the head, a soft drift"),
    Kind.SCREW: gettext_lazy("spanners for the head, a puller, a stand to lay the screw on"),
    Kind.BARREL: gettext_lazy("spanners for the barrel, something to hold its weight"),
    Kind.HEAD: gettext_lazy("spanners for the head, something to hold its weight"),
    Kind.BEARING: gettext_lazy("a puller, clean cloths"),
    Kind.GEARBOX: gettext_lazy("a tray for the old oil"),
    Kind.BELT: gettext_lazy("spanners for the tensioner"),
}
BY_ACTION = {
    Action.POLISH: gettext_lazy("polishing cloth and paste"),
    Action.CLEAN: gettext_lazy("scrapers, brushes, a lidded metal bin for rags and cake"),
    Action.LUBRICATE: gettext_lazy("the grease or oil that the maker names"),
    Action.REAM: gettext_lazy("the reamer of the next size, cutting oil"),
    Action.ADJUST: gettext_lazy("shims and a feeler gauge"),
}
OPENS = {
    Action.FLIP,
    Action.TURN,
    Action.REPLACE,
    Action.POLISH,
    Action.REAM,
    Action.REBUILD,
    Action.REPAIR,
    Action.HARD_FACE,
}


def things_to_bring(item: DueItem, system: str = "", *, name_size: bool = False) -> tuple[str, ...]:
    """Locks first, then tools, gauge, material, paste and the part that goes on, as far as action and part
    call for them. Sizes are in the units of `system`.

    name_size: say the part's size where nothing else on the list does, for messages, which show it nowhere
    else.
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
    if item.kind in TOOLS and item.action in OPENS:
        things.append(str(TOOLS[Kind(item.kind)]))
    if item.kind in GAUGES:
        things.append(str(GAUGES[Kind(item.kind)]))
    if item.action in BY_ACTION:
        things.append(str(BY_ACTION[Action(item.action)]))
    if item.action in OPENS:
        things.append(_("food-grade anti-seize for threads"))
    size = units.show_length(item.size_mm, system) if item.size_mm is not None else ""
    goes_on = "" if not item.kind else _goes_on(item.action, noun_words(item.kind), size)
    if goes_on:
        things.append(goes_on)
    elif name_size and item.kind and size:
        things.append(_("for the %(kind)s, %(size)s") % {"kind": noun_words(item.kind), "size": size})
    return tuple(things)


SPARED = {Action.REBUILD, Action.REPAIR, Action.HARD_FACE, Action.REAM}
"""Work for which the part leaves the press: with a spare it goes on meanwhile, or if the work fails."""


def _goes_on(action: str, kind: str, size: str) -> str:
    """The part that takes the place of the old one, for good or while that is worked on."""
    words = {"kind": kind, "size": size}
    if action == Action.REPLACE:
        return (_("the new %(kind)s, %(size)s") if size else _("the new %(kind)s")) % words
    if action in SPARED:
        return (_("a spare %(kind)s, %(size)s") if size else _("a spare %(kind)s")) % words
    return ""
