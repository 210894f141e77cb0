"""How fast edges wear, by least squares through a mill's gauges, and how long they last.

What a gauge shows of wear is a sum over crops of rate times seed since the edge was new, times the pace of
its edge; after work on the part, it is counted from the first gauge that followed. Readings that lie far off
(four times the usual distance) are left out once. Edges differ by about a quarter and crops by about a third,
unless the gauges say otherwise: where each edge pressed all crops, they hardly tell these apart.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import optimize

from tests.journeys.rows import Mill, Row, number

Floats = npt.NDArray[np.float64]
LEAST_GAUGES = 6
"""With fewer of a type nothing is taken from them."""
EDGES_DIFFER, CROPS_DIFFER = 0.25, 0.35
"""Standard deviations of the logarithms of paces and of rates (our assumption)."""
WELL_WORN = 0.35
"""Edges that have used up so much of their wear tell how much lives differ."""


@dataclass
class Wear:
    """Of a type: by crop the rate in mm per kilogram, and of each well-worn edge how many times as fast as
    these rates it wore."""

    budget: float
    rates: dict[str, float]
    paces: list[float]

    def life(self, crop: str) -> float:
        """Kilograms of one crop that an edge takes at these rates."""
        known = [rate for rate in self.rates.values() if rate > 0]
        rate = self.rates.get(crop) or sum(known) / len(known)
        return self.budget / rate


def taken(mill: Mill, part: object, edge: str, until: float, since: float = 0.0) -> dict[str, float]:
    """Kilograms of each crop through an edge between two instants."""
    found: dict[str, float] = defaultdict(float)
    for fitting in mill.fittings[part]:
        if fitting["edge"] != edge or number(fitting["a"]) >= until or number(fitting["b"]) <= since:
            continue
        a, b = max(number(fitting["a"]), since), min(number(fitting["b"]), until)
        position = mill.positions[fitting["position_id"]]
        for run, share in mill.worked({**fitting, "a": a, "b": b}):
            found[str(run["crop"])] += share * number(run["seed_kg"]) * mill.through(run, position)
    return dict(found)


def wear_of(mill: Mill, type_: Row) -> Wear | None:
    """None where a type has no limit, or too few gauges."""
    if type_["limit_mm"] is None or type_["new_mm"] is None:
        return None
    new, limit = number(type_["new_mm"]), number(type_["limit_mm"])
    sign = 1.0 if limit > new else -1.0
    told: list[tuple[tuple[object, str], dict[str, float], float]] = []
    for part in mill.parts.values():
        if part["part_type_id"] == type_["id"]:
            for edge in mill.edges(part):
                told += [((part["id"], edge), *one) for one in _told(mill, part, edge, new, sign)]
    if len(told) < LEAST_GAUGES:
        return None
    crops = sorted({crop for _edge, seed, _wear in told for crop in seed})
    design = np.array([[seed.get(crop, 0.0) for crop in crops] for _edge, seed, _wear in told])
    wear = np.array([each for _edge, _seed, each in told])
    rates, _rest = optimize.nnls(design, wear)
    off = np.abs(wear - design @ rates)
    near = off <= 4 * max(float(np.median(off)), 1e-9) / 0.6745
    edges = list(dict.fromkeys(edge for edge, _seed, _wear in told))
    of_edge = np.array([edges.index(edge) for edge, _seed, _wear in told])[near]
    design, wear, noise = design[near], wear[near], max(float(np.median(off[near])) / 0.6745, 1e-6)
    level = float(np.log(wear.sum() / design.sum()))

    def away(logs: Floats) -> Floats:
        """Distances of the gauges, of the crops from each other and of the edges from the mean, each in its
        own usual distance."""
        of_crop, pace = logs[: len(crops)], logs[len(crops) :]
        worn = (design @ np.exp(level + of_crop)) * np.exp(pace)[of_edge]
        return np.concatenate(
            ((worn - wear) / noise, (of_crop - of_crop.mean()) / CROPS_DIFFER, pace / EDGES_DIFFER)
        )

    found = optimize.least_squares(away, np.zeros(len(crops) + len(edges))).x
    rates = np.exp(level + found[: len(crops)])
    paces = []
    for place in range(len(edges)):
        own = of_edge == place
        by_rate = design[own] @ rates
        if own.any() and by_rate.max() >= WELL_WORN * abs(limit - new):
            paces.append(float(by_rate @ wear[own] / (by_rate @ by_rate)))
    return Wear(abs(limit - new), dict(zip(crops, rates.tolist(), strict=True)), paces)


def _told(mill: Mill, part: Row, edge: str, new: float, sign: float) -> list[tuple[dict[str, float], float]]:
    """Of each gauge of an edge the seed since the edge was new, or since the gauge from which it is counted,
    and the wear."""
    reset = [
        number(work["at"])
        for work in mill.services
        if work["part_id"] == part["id"]
        and work["action"] in ("polish", "hard-face", "ream", "rebuild", "repair")
    ]
    found: list[tuple[dict[str, float], float]] = []
    begin, value = 0.0, new if part["made_from_id"] is None and part["used_kg"] is None else None
    for at, phase, worst in _worst(mill.gauges[part["id"], edge], sign):
        done = [work for work in reset if begin < work <= at and phase != "before"]
        if done or value is None:
            begin, value = at, worst
            continue
        seed = taken(mill, part["id"], edge, at, begin)
        if sum(seed.values()) > 0:
            found.append((seed, sign * (worst - value)))
    return found


def _worst(gauges: list[Row], sign: float) -> list[tuple[float, str, float]]:
    """At each instant the place that is worn most, without what only says at least or below."""
    found: dict[tuple[float, str], float] = {}
    for gauge in gauges:
        if not gauge["bound"]:
            key, value = (number(gauge["at"]), str(gauge["phase"])), number(gauge["value_mm"])
            found[key] = value if key not in found else sign * max(sign * value, sign * found[key])
    return [(at, phase, value) for (at, phase), value in found.items()]
