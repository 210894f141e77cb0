"""The seed that edges took to their limit, by crop, beside what the next one is expected to take."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from django.utils.translation import gettext as _

from wearlog.calc import units
from wearlog.calc.wear import MIXED
from wearlog.forecasts.edges import Edges

NEXT_FROM = 2
"""Of fewer lives no spread can be told."""


@dataclass(frozen=True)
class ToLimit:
    """A row: the crop, how many lives, their mean and standard deviation, the least and the most, and what a
    new edge is expected to take (10 to 90 %); empty where nothing can be said."""

    crop: str
    lives: int
    mean: str
    spread: str
    reach: str
    expected: str


def to_limit(edges: Edges, type_id: int, system: str) -> list[ToLimit]:
    """By crop in the order of codes, mixed lives last; empty where no life came near its limit."""
    found = edges.to_limit(type_id)
    if found is None:
        return []
    crops = edges.record.crops
    rows = []
    for crop in [*range(len(crops)), MIXED]:
        seed = found.seed_kg[found.crop == crop]
        if seed.size:
            rows.append(
                ToLimit(
                    crops[crop] if crop != MIXED else _("several crops"),
                    seed.size,
                    units.show_mass(float(seed.mean()), system),
                    units.show_mass(float(seed.std(ddof=1)), system) if seed.size >= NEXT_FROM else "",
                    _("%(low)s to %(high)s")
                    % {
                        "low": units.show_mass(float(seed.min()), system),
                        "high": units.show_mass(float(seed.max()), system),
                    },
                    _next(edges, type_id, crop, system),
                )
            )
    return rows


def _next(edges: Edges, type_id: int, crop: int, system: str) -> str:
    mix = np.zeros(len(edges.record.crops))
    if crop == MIXED:
        return ""
    mix[crop] = 1.0
    left = edges.fits[type_id].new_edge.seed_left(mix)
    if left is None:
        return ""
    return _("%(low)s to %(high)s") % {
        "low": units.show_mass(left.low, system),
        "high": units.show_mass(left.high, system),
    }
