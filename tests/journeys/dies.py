"""How many dies to make before the plan is pressed, by simulation.

Each edge wears at the pace of an edge that was really worn, drawn with putting back; the plan is pressed up
to a few per cent more or less; the dies to be left over must be left over in 95 of 100 draws. Nothing is
supposed of the lives' distribution.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from scipy import stats

from tests.journeys.orders import on_order
from tests.journeys.rows import Mill, Row, number, number_or_none
from tests.journeys.wear import Floats, Wear, taken

DRAWS = 20_000
PLAN_SPREAD = 0.12
"""Of the logarithm of pressed seed over planned seed (the program's assumption, docs/methods/policy.md)."""
ENOUGH = 0.95


Shares = dict[tuple[object, str], float]
"""By type and crop, the share of the crop's seed that goes through dies of the type."""


@dataclass
class Dies:
    """planned_kg: of the plan's coming year. make: how many. left_kg: draws of what the edges at hand take
    together. daily: the planned seed of each day."""

    planned_kg: float
    make: int
    left_kg: Floats
    daily: dict[date, float]

    def used_up(self, chance: float) -> date | None:
        """The day on which the plan exceeds what the dies at hand take with a chance; None where it never
        does."""
        least, seed = float(np.quantile(self.left_kg, chance)), 0.0
        for day in sorted(self.daily):
            seed += self.daily[day]
            if seed > least:
                return day
        return None


def dies_of(mill: Mill, type_: Row, wear: Wear, of_crops: Shares) -> Dies | None:
    """None where nothing is planned for the type."""
    daily: dict[date, float] = defaultdict(float)
    mix: dict[str, float] = defaultdict(float)
    for entry in mill.plan:
        share = of_crops.get((type_["id"], str(entry["crop"])), 0.0)
        first, last = entry["start"], entry["end"]
        assert isinstance(first, date)
        assert isinstance(last, date)
        days = (last - first).days + 1
        for number_of_day in range(days):
            day = first + timedelta(days=number_of_day)
            if mill.today < day <= mill.today + timedelta(days=366) and share:
                daily[day] += share * number(entry["seed_kg"]) / days
                mix[str(entry["crop"])] += share * number(entry["seed_kg"]) / days
    planned = sum(daily.values())
    if not planned:
        return None
    rate = sum(kg / wear.life(crop) for crop, kg in mix.items()) / planned
    dice = np.random.default_rng(5)
    paces = np.array(wear.paces)
    at_hand = [
        left
        for part in mill.parts.values()
        if part["part_type_id"] == type_["id"] and part["retired_on"] is None
        for left in _left(mill, part, wear)
    ]
    edges = int(number(type_["edges"]))
    at_hand += [1.0] * (edges * on_order(type_))
    lives = np.zeros(DRAWS)
    for left in at_hand:
        lives += left / rate / dice.choice(paces, DRAWS)
    mean = float(np.mean(1 / paces)) / rate
    keep = edges * mean * _spares(mill, type_)
    goal = planned * np.exp(PLAN_SPREAD * dice.standard_normal(DRAWS)) + keep
    left_kg, make = lives.copy(), 0
    while float(np.mean(lives >= goal)) < ENOUGH:
        make += 1
        for _edge in range(edges):
            lives = lives + 1 / rate / dice.choice(paces, DRAWS)
    return Dies(planned, make, left_kg, dict(daily))


def _spares(mill: Mill, type_: Row) -> float:
    """As set, else so many that in 95 of 100 lead times one is left when dies break or get lost as often as
    so far: negative binomial, from half an event more than there were (docs/methods/policy.md)."""
    if type_["min_spares"] is not None:
        return number(type_["min_spares"])
    own = [part for part in mill.parts.values() if part["part_type_id"] == type_["id"]]
    begun = [number(mill.fittings[part["id"]][0]["a"]) for part in own if mill.fittings[part["id"]]]
    lead = number_or_none(type_["lead_time_days"])
    if not begun or lead is None:
        return 0.0
    ended = sum(part["retired_because"] in ("broken", "lost") for part in own)
    days = (mill.end - min(begun)) / 86400
    return float(stats.nbinom.ppf(0.95, ended + 0.5, days / (days + lead))) + 1.0


def _left(mill: Mill, part: Row, wear: Wear) -> list[float]:
    """Of each edge the fraction of its life that is left: by its last gauge and the seed since. What lies
    behind an edge that is on the press now, or was last, is used up."""
    found = []
    order = [str(fitting["edge"]) for fitting in mill.fittings[part["id"]]]
    for edge in mill.edges(part):
        if edge not in order:
            found.append(1.0)
            continue
        if order[-1] != edge:
            found.append(0.0)
            continue
        gauges = [gauge for gauge in mill.gauges[part["id"], edge] if not gauge["bound"]]
        since = number(gauges[-1]["at"]) if gauges else 0.0
        type_ = mill.types[part["part_type_id"]]
        worn = abs(number(gauges[-1]["value_mm"]) - number(type_["new_mm"])) / wear.budget if gauges else 0.0
        seed = taken(mill, part["id"], edge, mill.end, since)
        worn += sum(kg / wear.life(crop) for crop, kg in seed.items())
        found.append(max(0.0, 1.0 - worn))
    return found


def shares(mill: Mill) -> Shares:
    """In proportion to what the types that are for a crop took of it, else evenly."""
    took: dict[object, dict[str, float]] = {}
    for part in mill.parts.values():
        if mill.types[part["part_type_id"]]["kind"] == "die":
            own = took.setdefault(part["part_type_id"], defaultdict(float))
            for edge in mill.edges(part):
                for crop, kg in taken(mill, part["id"], edge, mill.end).items():
                    own[crop] += kg
    found: Shares = {}
    for crop in {str(entry["crop"]) for entry in mill.plan}:
        serving = [
            row["id"]
            for row in mill.types.values()
            if row["kind"] == "die" and (not row["for_crops"] or crop in str(row["for_crops"]).split())
        ]
        whole = sum(took.get(key, {}).get(crop, 0.0) for key in serving)
        for key in serving:
            found[key, crop] = took.get(key, {}).get(crop, 0.0) / whole if whole else 1 / len(serving)
    return found
