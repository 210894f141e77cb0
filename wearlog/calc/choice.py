"""Which model speaks: candidates weighed by how well each told this mill's past limits, and mixed.

Each finished edge has, for each candidate m, the interval scores S of the ranges that it would have been
given 60, 150 and 240 days ahead (width and ten times the days outside, Gneiting and Raftery 2007), averaged,
and from them a loss

    l_m = ln(S_m + 3 days) - ln(S_present + 3 days)

so that one limit missed by months counts no more than several missed by days. With the mean loss L_m of all
edges (each counted half after a year) and n edges' worth of them, at most 20, the weights are

    w_m proportional to prior_m * exp(-n * L_m)

the exponentially weighted forecaster (Vovk, "Aggregating strategies", 1990; Littlestone and Warmuth, "The
weighted majority algorithm", 1994; both from memory). The prior is eight parts for the present model and one
for each other; below 8 judged edges the present model speaks alone.

A forecast of a day uses only scores of edges known to be finished before that day.

The mixture is that of the distributions (the linear opinion pool: Stone, "The opinion pool", Annals of
Mathematical Statistics 32, 1961, from memory). Each candidate's range stands for a normal distribution of two
halves about its middle (two-piece normal) whose 10 and 90 % points are its ends; the mixture's 10, 50 and
90 % points are the range that is given. So where candidates differ, the range is as wide as their quarrel.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import erfc, exp, log, sqrt

from wearlog.calc.candidates import OTHERS, PRESENT
from wearlog.calc.conformal import FEWEST_EDGES, DayRange, History, interval_score

LEADS = (60, 150, 240)
"""How many days ahead ranges are judged: while there is time to order a part, up to most of a year."""
PRIOR: Mapping[str, float] = {PRESENT: 8.0, **dict.fromkeys(OTHERS, 1.0)}
SPARE_DAYS = 3.0
HALF_AFTER_DAYS = 365.0
MOST_EDGES = 20.0
STEP = 0.05
"""Weights are given in such steps, so that they change when something was learned and not every day."""
TENTH = 1.2815515655446004
NARROWEST_DAYS = 0.5

Ranges = Mapping[str, DayRange]
Weights = Mapping[str, float]
ALONE: Weights = {PRESENT: 1.0}
"""The present model speaks alone."""


@dataclass(frozen=True, kw_only=True)
class Told:
    """What every candidate said of one edge over its life, and the outcome; fields as in `History`."""

    forecasts: tuple[tuple[float, Ranges], ...]
    kind: int = 0
    came: float | None = None
    known_on: float | None = None
    ended: float | None = None


@dataclass(frozen=True, kw_only=True)
class Judged:
    """weights: of those that speak, by name; they add up to 1. scores: the mean interval score of every
    candidate in days, over the `edges` finished edges that were judged; empty below the fewest."""

    weights: Weights
    scores: Mapping[str, float]
    edges: int


def judged_on(day: float, told: Iterable[Told], leads: Sequence[float] = LEADS) -> Judged:
    """The weights that a forecast made on `day` may use."""
    return _judged(day, _scored(told, leads))


Scored = Sequence[tuple[float, Mapping[str, float]]]
"""Of each finished edge the day on which that was known, and the score of each candidate."""


def _scored(told: Iterable[Told], leads: Sequence[float]) -> Scored:
    ended = [(one.known_on, _scores(one, leads)) for one in told if one.known_on is not None]
    return [(known_on, scores) for known_on, scores in ended if scores]


def _judged(day: float, scored: Scored) -> Judged:
    known = [(day - known_on, scores) for known_on, scores in scored if known_on < day]
    if len(known) < FEWEST_EDGES:
        return Judged(weights=ALONE, scores={}, edges=len(known))
    counts = [0.5 ** (age / HALF_AFTER_DAYS) for age, _ in known]
    total = sum(counts)
    edges = min(total, MOST_EDGES)
    weights = {}
    for name, prior in PRIOR.items():
        lost = sum(count * _loss(scores, name) for count, (_, scores) in zip(counts, known, strict=True))
        weights[name] = prior * exp(-edges * lost / total)
    means = {name: sum(scores[name] for _, scores in known) / len(known) for name in PRIOR}
    return Judged(weights=_speaking(weights), scores=means, edges=len(known))


def _scores(one: Told, leads: Sequence[float]) -> dict[str, float]:
    """The mean interval score of each candidate over the leads for which all of them gave a range."""
    assert one.came is not None
    given = [_latest(one, one.came - lead) for lead in leads]
    whole = [ranges for ranges in given if ranges is not None and all(name in ranges for name in PRIOR)]
    if not whole:
        return {}
    return {
        name: sum(interval_score(ranges[name], one.came) for ranges in whole) / len(whole) for name in PRIOR
    }


def _latest(one: Told, day: float) -> Ranges | None:
    past = [each for each in one.forecasts if each[0] <= day]
    return max(past, key=lambda each: each[0])[1] if past else None


def _loss(scores: Mapping[str, float], name: str) -> float:
    return log(scores[name] + SPARE_DAYS) - log(scores[PRESENT] + SPARE_DAYS)


def _speaking(weights: Weights) -> Weights:
    """The same in steps that add up to 1; who would have less than half a step keeps silent."""
    total = sum(weights.values())
    steps = {name: round(weight / total / STEP) for name, weight in weights.items()}
    loudest = max(weights, key=lambda name: weights[name])
    steps[loudest] += round(1 / STEP) - sum(steps.values())
    return {name: count * STEP for name, count in steps.items() if count}


def mixed(ranges: Ranges, weights: Weights) -> DayRange:
    """The 10, 50 and 90 % points of the mixture; candidates without a range keep silent. The present model
    must have one."""
    heard = [(ranges[name], weight) for name, weight in weights.items() if name in ranges and weight > 0]
    if not heard:
        return ranges[PRESENT]
    if len(heard) == 1:
        return heard[0][0]
    total = sum(weight for _, weight in heard)
    early, mid, late = (_point(heard, chance * total) for chance in (0.1, 0.5, 0.9))
    return DayRange(early=early, mid=mid, late=late)


def _point(heard: Sequence[tuple[DayRange, float]], chance: float) -> float:
    low = min(each.early for each, _ in heard)
    high = max(each.late for each, _ in heard)
    while high - low > 0.01:
        middle = (low + high) / 2
        if sum(weight * _below(each, middle) for each, weight in heard) < chance:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def _below(each: DayRange, day: float) -> float:
    """The chance of a day before `day`."""
    half = each.mid - each.early if day < each.mid else each.late - each.mid
    return 0.5 * erfc(-TENTH * (day - each.mid) / max(half, NARROWEST_DAYS) / sqrt(2.0))


def histories(told: Sequence[Told], leads: Sequence[float] = LEADS) -> list[History]:
    """The same with the mixture that would have been given on each day, by what was known then."""
    scored = _scored(told, leads)
    days = {day for one in told for day, _ in one.forecasts}
    weights = {day: _judged(day, scored).weights for day in days}
    return [
        History(
            forecasts=tuple((day, mixed(ranges, weights[day])) for day, ranges in one.forecasts),
            kind=one.kind,
            came=one.came,
            known_on=one.known_on,
            ended=one.ended,
        )
        for one in told
    ]
