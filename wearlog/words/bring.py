"""What to bring to a task. Common practice, no source: a list to think with."""

from __future__ import annotations

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from wearlog.calc import units
from wearlog.equipment.models import Kind
from wearlog.forecasts.items import DueItem
from wearlog.service.models import Action

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


def things_to_bring(item: DueItem) -> tuple[str, ...]:
    """Locks first, then tools, gauge, material and paste, as far as action and part call for them."""
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
    if item.action == Action.REPLACE and item.size_mm is not None:
        new = {"kind": Kind(item.kind).label, "size": units.show_length(item.size_mm)}
        things.append(_("the new %(kind)s, %(size)s") % new)
    return tuple(things)
