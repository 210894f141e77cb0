"""What a part on the shelf has before it: what is left on each edge, what is asked of it once it is fitted,
and where it could go. No task of its own is due while it lies there, so nothing here is one."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from django.db.models import Q
from django.urls import reverse
from django.utils.translation import gettext as _

from wearlog.calc import units
from wearlog.equipment.models import Fitting, Part, Position
from wearlog.forecasts.ahead import IfFitted, if_fitted
from wearlog.forecasts.edges import Edges
from wearlog.forecasts.left import edge_left
from wearlog.forecasts.outlook import Outlook
from wearlog.forecasts.triggers import why
from wearlog.runs.models import Crop
from wearlog.service.models import Rule
from wearlog.service.work import Action
from wearlog.words.actions import action_word
from wearlog.words.days import day_words
from wearlog.words.rules import CROPS_NAMED, trigger_words

CROPS = 3
PLACES = 12
CHANGES = 4


@dataclass(frozen=True)
class WayOn:
    """A place where the part could go: `words` and the address of the form that puts it there."""

    words: str
    url: str


@dataclass(frozen=True)
class NextWhenFitted:
    """`edges`: a line for each edge. `ahead`: for the places with the nearest changes of crop in the plan,
    when the edges would be worn out if fitted then. `rules`: what is asked of such a part while it is
    fitted."""

    edges: list[str]
    ahead: list[str]
    rules: list[str]
    ways_on: list[WayOn]


def next_when_fitted(part: Part, edges: Edges, system: str) -> NextWhenFitted:
    names = tuple(part.part_type.edge_names)
    return NextWhenFitted(
        [_edge_line(part, edge, edges, system) for edge in names],
        _ahead(part, edges, names),
        _rules(part, system),
        _ways_on(part),
    )


def _edge_line(part: Part, edge: str, edges: Edges, system: str) -> str:
    name = _("Edge %s") % edge if edge else _("Its one edge")
    if part.pk not in edges.record.parts:
        return name
    served = part.part_type.for_crops.split()
    crops = [crop for crop in Crop.objects.values_list("code", flat=True) if not served or crop in served]
    found = [(crop, edge_left(edges, part.pk, edge, crop)) for crop in crops]
    used = any(left.used for _crop, left in found)
    known = [(crop, left.left_kg) for crop, left in found if left.left_kg is not None]
    words = [name + ": " + (_("used before") if used else _("unused"))]
    if known and all(kg <= 0 for _crop, kg in known):
        words.append(_("at its limit: not for work any more"))
    elif known:
        by_crop = ", ".join(
            _("%(seed)s of %(crop)s") % {"seed": units.show_mass(kg, system), "crop": crop}
            for crop, kg in known[:CROPS]
        )
        words.append(_("about %s left") % by_crop)
    else:
        words.append(_("can't tell what is left"))
    return ", ".join(words) + "."


def _ahead(part: Part, edges: Edges, names: tuple[str, ...]) -> list[str]:
    """`Fitted on North press · die with linseed (Wed 9 Dec): edge A is worn out about Thu 4 Mar.`"""
    record = edges.record
    if part.pk not in record.parts:
        return []
    found = if_fitted(edges, Outlook(record), part.pk, names)
    nearest = list(dict.fromkeys(each.position_id for each in found))[:CHANGES]
    places = Position.objects.select_related("press").in_bulk(nearest)
    lines = []
    for position_id in nearest:
        place = places[position_id]
        own = [each for each in found if each.position_id == position_id]
        said = "; ".join(_worn_out(each, record.as_of) for each in own)
        lines.append(
            _("Fitted on %(place)s with %(crop)s (%(day)s): %(said)s.")
            % {
                "place": place,
                "crop": own[0].crop,
                "day": day_words(own[0].on, record.as_of),
                "said": said,
            }
        )
    return lines


def _worn_out(each: IfFitted, as_of: date) -> str:
    name = _("edge %s") % each.edge if each.edge else _("its one edge")
    if each.reach.mid is None:
        return _("%(edge)s lasts beyond what can be foreseen") % {"edge": name}
    when = why.about(each.reach.mid, each.reach.early, each.reach.late, as_of)
    return _("%(edge)s is worn out %(when)s") % {"edge": name, "when": when}


def _rules(part: Part, system: str) -> list[str]:
    kind = part.part_type.kind
    rules = Rule.objects.filter(Q(part_type=part.part_type) | Q(part_type=None, kind=kind)).exclude(
        part_type=None, kind=""
    )
    lines = []
    for rule in rules.select_related("press", *CROPS_NAMED):
        where = f" ({rule.press})" if rule.press is not None else ""
        lines.append(f"{action_word(rule.action)}: {', '.join(trigger_words(rule, system))}{where}.")
    return lines


def _ways_on(part: Part) -> list[WayOn]:
    positions = list(
        Position.objects.filter(kind=part.part_type.kind, press__retired_on=None).select_related("press")[
            :PLACES
        ]
    )
    fitted = {
        fitting.position_id: fitting
        for fitting in Fitting.objects.open().filter(position__in=positions).select_related("part")
    }
    ways = []
    for position in positions:
        fitting = fitted.get(position.pk)
        if fitting is None:
            url = f"{reverse('web:fitting-new')}?position={position.pk}"
            ways.append(WayOn(_("Fit on %(place)s") % {"place": position}, url))
        else:
            url = (
                f"{reverse('web:work-new')}?fitting={fitting.pk}&action={Action.REPLACE.value}&part={part.pk}"
            )
            words = _("Fit in place of %(part)s on %(place)s") % {"part": fitting.part, "place": position}
            ways.append(WayOn(words, url))
    return ways
