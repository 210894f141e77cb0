"""Which die to run the next crop with: every edge that could work at a place, what is left on it, the fitting
ones first."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from wearlog.calc import units
from wearlog.equipment.models import Fitting, Part
from wearlog.forecasts.edges import Edges
from wearlog.forecasts.items import WearFigure
from wearlog.forecasts.left import EdgeLeft, edge_left
from wearlog.runs.models import Crop
from wearlog.web.site import known
from wearlog.web.site.fields import Reader
from wearlog.words.kinds import with_edge

KEEP = "keep"
TURN = "turn:"
"""Before the edge to which what sits there is turned. Any other choice is a spare, as `known.Spare.value`."""
NEEDED_KG = 1000.0
"""What a die should still be able to take where nothing is planned: our convention, no source."""
BARREL = 0.5
"""The part of a twin press's seed that one barrel takes where nothing else is written."""
FIRST = 3
"""How many edges are shown at once; the others are folded away."""
MOST = 60


@dataclass(frozen=True)
class Use:
    """What speaks for an edge with one crop: `rank` sorts, the lowest first; `fits` says that it serves the
    crop and has something left."""

    rank: tuple[float, ...]
    words: str
    fits: bool


@dataclass(frozen=True)
class EdgeChoice:
    """One edge that could work at the place. `by_crop` has its use with each crop, by primary key."""

    value: str
    name: str
    about: str
    wear: WearFigure | None
    by_crop: dict[int, Use]

    def as_data(self) -> str:
        """Its use with each crop for the page's script: crop to rank, words, whether it fits."""
        return json.dumps({pk: [use.rank, use.words, use.fits] for pk, use in self.by_crop.items()})


@dataclass(frozen=True)
class Need:
    """The seed of a crop that is planned for the press, through one die of it; None where none is."""

    planned_kg: float | None
    share: float = 1.0

    @property
    def kg(self) -> float:
        return (NEEDED_KG if self.planned_kg is None else self.planned_kg) * self.share


def choices_at(
    place: known.PlaceNow,
    *,
    spares: Sequence[known.Spare],
    edges: Edges,
    crops: Sequence[Crop],
    planned: dict[int, float],
    reader: Reader,
) -> list[EdgeChoice]:
    """Every edge that could work there: the one that does, the others of the same part, then the spares.
    `planned` is the seed that is planned for the press, by crop."""
    position = place.position
    share = float(position.share) if position.share is not None else BARREL if position.barrel else 1.0
    found = []
    fitting = place.fitting
    if fitting is not None:
        part = fitting.part
        for edge in part.part_type.edge_names:
            here = edge == fitting.edge
            found.append(
                _choice(
                    KEEP if here else f"{TURN}{edge}",
                    (_("Leave %(part)s on") if here else _("Turn to %(part)s"))
                    % {"part": with_edge(part.code, edge)},
                    part,
                    edge,
                    edges,
                    crops,
                    planned,
                    share,
                    reader,
                )
            )
    found += [
        _choice(
            spare.value,
            with_edge(spare.part.code, spare.edge),
            spare.part,
            spare.edge,
            edges,
            crops,
            planned,
            share,
            reader,
        )
        for spare in spares[:MOST]
    ]
    return found


def _choice(
    value: str,
    name: str,
    part: Part,
    edge: str,
    edges: Edges,
    crops: Sequence[Crop],
    planned: dict[int, float],
    share: float,
    reader: Reader,
) -> EdgeChoice:
    kind = part.part_type
    about = [] if kind.size_mm is None else [units.show_length(kind.size_mm, reader.system)]
    if kind.for_crops:
        about.append(_("for %s") % ", ".join(kind.for_crops.split()))
    is_known = part.pk in edges.record.parts
    left = {
        crop.pk: edge_left(edges, part.pk, edge, crop.code) if is_known else EdgeLeft(False, None, None)
        for crop in crops
    }
    by_crop = {
        crop.pk: use_of(
            left[crop.pk],
            serves=known.serves(part, crop),
            here=value == KEEP,
            need=Need(planned.get(crop.pk), share),
            reader=reader,
        )
        for crop in crops
    }
    wear = next((each.wear for each in left.values()), None)
    return EdgeChoice(value, name, " · ".join(about), wear, by_crop)


def use_of(left: EdgeLeft, *, serves: bool, here: bool, need: Need, reader: Reader) -> Use:
    """First what serves the crop, of that what lasts for what is planned, of that what is on already, then
    what has least left, so that it is used up; then what does not last, the most first."""
    kg = left.left_kg
    lasts = kg is not None and kg >= need.kg
    words = [] if left.used else [_("unused")]
    if kg is None:
        words.append(_("can't tell what is left"))
    else:
        words.append(_("about %s left") % units.show_mass(kg, reader.system))
        if lasts and need.planned_kg is not None:
            words.append(_("enough"))
    spent = kg is not None and kg <= 0
    order = 0.0 if kg is None else kg if lasts else -kg
    rank = (float(not serves), float(spent), float(kg is not None and not lasts), float(not here), order)
    return Use(rank, ", ".join(words), serves and not spent)


def ordered(choices: Sequence[EdgeChoice], crop: Crop | None) -> tuple[list[EdgeChoice], list[EdgeChoice]]:
    """What stands at once and what is folded away, best first; without a crop in the order of the shelf."""
    if crop is None:
        return list(choices[:FIRST]), list(choices[FIRST:])
    best = sorted(choices, key=lambda choice: choice.by_crop[crop.pk].rank)
    first = [choice for choice in best if choice.by_crop[crop.pk].fits][:FIRST] or best[:1]
    first += [choice for choice in best if choice.value == KEEP and choice not in first]
    return first, [choice for choice in best if choice not in first]


def proposed(choices: Sequence[EdgeChoice], crop: Crop | None) -> str:
    """The choice to begin with: the first that fits; none where none does or no crop is known yet."""
    if crop is None:
        return ""
    first = ordered(choices, crop)[0]
    return first[0].value if first and first[0].by_crop[crop.pk].fits else ""


def leaves(fitting: Fitting, edges: Edges, reader: Reader) -> str:
    """`With another edge, D6-11's time on edge A ends at 34.2 t.`: what the signature ends; empty where it is
    not known yet."""
    used = edges.used.get((fitting.part_id, fitting.edge))
    if used is None:
        return ""
    return _("If it comes off, the time of %(part)s ends at %(seed)s.") % {
        "part": with_edge(fitting.part.code, fitting.edge),
        "seed": units.show_mass(edges.taken(used)[0], reader.system),
    }
