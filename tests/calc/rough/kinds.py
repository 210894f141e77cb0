"""The kinds of made-up mills: what each does to wear, use, readings and plans.

Every number here is invented for the tests; none is taken from a real mill.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

RAPE, LINSEED, SUNFLOWER = range(3)
Season = tuple[int, tuple[int, int], tuple[int, int]]
SEASONS: tuple[Season, ...] = (
    (RAPE, (8, 10), (10, 20)),
    (SUNFLOWER, (11, 1), (1, 31)),
    (LINSEED, (3, 1), (4, 30)),
)


@dataclass(frozen=True)
class PartType:
    name: str
    new: float
    limit: float
    crops: tuple[int, ...]
    edges: tuple[str, ...]
    life_kg: float  # what the maker says; the true life differs

    @property
    def budget(self) -> float:
        return abs(self.limit - self.new)

    @property
    def toward(self) -> float:
        """1 where wear makes the dimension larger, -1 where it makes it smaller."""
        return 1.0 if self.limit > self.new else -1.0


TYPES = (
    PartType("small die", 5.0, 5.4, (RAPE, LINSEED), ("A", "B"), 42_000.0),
    PartType("large die", 10.0, 10.4, (SUNFLOWER,), ("A", "B"), 42_000.0),
    PartType("screw", 70.0, 69.0, (RAPE, LINSEED, SUNFLOWER), ("",), 230_000.0),
)

Shape = Callable[[np.ndarray], np.ndarray]


def straight(u: np.ndarray) -> np.ndarray:
    """Wear in parts of the budget, from progress in parts of the budget."""
    return u


def run_in(u: np.ndarray) -> np.ndarray:
    """A quarter of the budget goes fast at first, then a steady pace."""
    return 0.25 * (1.0 - np.exp(-u / 0.06)) + 0.75 * u


def acceleration(u: np.ndarray) -> np.ndarray:
    """Steady up to about half of the budget, then ever faster."""
    return np.asarray(0.6 * u + 0.4 * np.maximum(u, 0.0) ** 4)


def fast_steady_fast(u: np.ndarray) -> np.ndarray:
    return 0.15 * (1.0 - np.exp(-u / 0.05)) + 0.65 * u + 2.5 * np.maximum(u - 0.7, 0.0) ** 2


@dataclass(frozen=True)
class Wear:
    """How wear goes.

    shape: over a life. part_spread, edge_spread: standard deviation (sd) of the logarithm of a part's
        multiplier, and of an edge's relative to the one before it. crop_spread: the same of crops' rates.
    steps: wear comes in gamma-distributed steps, of this variance over a life in budgets.
    pace_spread, pace_life: the logarithm of the pace of an edge is an autoregressive process of this sd,
        correlated over this part of a life.
    harvest_spread: sd of the logarithm of what a crop's harvest of a season does to all edges alike.
    campaign_spread: the same for one press alone.
    moisture: wear in January by this logarithm above, in July below that of the year's mean.
    suppliers: multipliers of parts that come from several makers, each as likely.
    faced, shorter: a worn screw is hard-faced up to so many times, and wears faster by this factor each time.
    stony: the factor of one campaign (one crop of one season on one press), which is flagged as dirty.
    """

    shape: Shape = straight
    part_spread: float = 0.2
    edge_spread: float = 0.02
    crop_spread: float = 0.35
    steps: float = 0.0
    pace_spread: float = 0.0
    pace_life: float = 0.33
    harvest_spread: float = 0.0
    campaign_spread: float = 0.0
    moisture: float = 0.0
    suppliers: tuple[float, ...] = ()
    faced: int = 0
    shorter: float = 1.0
    stony: float = 1.0


@dataclass(frozen=True)
class Readings:
    """How edges are gauged and what is written down.

    days: mean days between the gaugings of an edge. sd: of a reading, mm. slips: the share that is off by
        0.1 to 0.5 mm.
    typed: the share typed with its decimal point one place off, or with two digits changed over; with
        `wear_typed` as often the wear instead of the dimension.
    rounded: to so many mm, 0: not. hands: what each of the people who gauge is off by, mm. days_off: the day
        written down is off by up to so many. drift: mm by which the gauge goes off in a year, set right every
        second year.
    at_crop_change: gauge at each change of crop too. pins: bores are only tried with pins, 0.1 mm apart.
    removed_by_gauge: an edge goes when a reading passes the limit, not when the wear does.
    told_worn: it is written down why an edge went.
    """

    days: float = 10.0
    sd: float = 0.02
    slips: float = 0.03
    typed: float = 0.0
    wear_typed: bool = False
    rounded: float = 0.0
    hands: tuple[float, ...] = ()
    days_off: int = 0
    drift: float = 0.0
    at_crop_change: bool = False
    pins: bool = False
    removed_by_gauge: bool = False
    told_worn: bool = True


@dataclass(frozen=True)
class Use:
    """What presses do, and what is planned.

    plan_miss: sd of the logarithm of pressed over planned seed. plan_bias: all plans are missed by this
        share, in each mill to one side.
    a_season_ahead: a season is planned on the day on which it begins; else nobody wrote down when, and all
        are known at once.
    doubles: from some day on presses take twice the seed that was planned until then. replanned: seasons that
        begin later are planned so.
    moved: two presses change screws on a day.
    rests: each press rests for two to four months in every second season or so, unplanned.
    new_crop: sunflower is pressed from the second season on only.
    off_early: what is worn by half goes off at a season's end, and back on when its successor is worn.
    """

    plan_miss: float = 0.10
    plan_bias: float = 0.0
    a_season_ahead: bool = False
    doubles: bool = False
    replanned: bool = False
    moved: bool = False
    rests: bool = False
    new_crop: bool = False
    off_early: bool = False


@dataclass(frozen=True)
class Kind:
    """A kind of mill: up to three presses (each third one with two barrels) unless told otherwise.

    life_told: what the maker says in parts of `PartType.life_kg`; None where he is silent. asked: the first
    and last day on which forecasts are asked for, in parts of the record.
    """

    wear: Wear = Wear()
    readings: Readings = Readings()
    use: Use = Use()
    years: int = 6
    presses: int = 3
    life_told: float | None = 1.0
    asked: tuple[float, float] = (0.2, 0.52)
    types: tuple[PartType, ...] = TYPES
    seasons: tuple[Season, ...] = SEASONS

    @property
    def crops(self) -> int:
        return 1 + max(crop for crop, _, _ in self.seasons)


SPARSE = Readings(days=60.0, at_crop_change=True)

KINDS: dict[str, Kind] = {
    "steady": Kind(),
    "sparse": Kind(readings=SPARSE),
    "runin": Kind(wear=Wear(shape=run_in)),
    "accel": Kind(wear=Wear(shape=acceleration)),
    "both": Kind(wear=Wear(shape=fast_steady_fast)),
    "people": Kind(
        readings=Readings(
            slips=0.0, typed=0.1, wear_typed=True, rounded=0.1, hands=(0.06, -0.04), days_off=3, sd=0.03
        )
    ),
    "harvest": Kind(wear=Wear(harvest_spread=0.33, campaign_spread=0.1)),
    "wander": Kind(wear=Wear(pace_spread=0.3)),
    "steps": Kind(wear=Wear(steps=0.03)),
    "hardface": Kind(wear=Wear(faced=2, shorter=1.25, stony=1.8)),
    "use": Kind(use=Use(doubles=True, moved=True)),
    "replans": Kind(use=Use(doubles=True, replanned=True, a_season_ahead=True)),
    "young": Kind(presses=1, years=3, asked=(0.1, 0.46), use=Use(new_crop=True)),
    "missed": Kind(use=Use(plan_bias=0.4)),
    "drift": Kind(readings=Readings(drift=0.04)),
    "suppliers": Kind(wear=Wear(suppliers=(0.75, 1.35), part_spread=0.1)),
    "early": Kind(use=Use(off_early=True)),
    "moisture": Kind(wear=Wear(moisture=0.35)),
    "rests": Kind(use=Use(rests=True, a_season_ahead=True)),
    "pins": Kind(readings=Readings(days=45.0, pins=True)),
    "fleet": Kind(presses=20, years=4, readings=Readings(days=20.0)),
}

SAYS: dict[str, str] = {
    "steady": "steady wear, gauged every ten days",
    "sparse": "gauged every two months and when the crop changes",
    "runin": "fast while new",
    "accel": "ever faster towards the limit",
    "both": "fast, steady, fast",
    "people": "0.1 mm gauge, one reading in ten mistyped, two biased hands, days off by up to three",
    "harvest": "harvests differ by a third, campaigns by a tenth more",
    "wander": "the pace of wear wanders within a life",
    "steps": "wear comes in gamma-distributed steps",
    "hardface": "screws hard-faced up to twice, one stony campaign",
    "use": "use doubles, plans stay as they were, two presses change screws",
    "replans": "use doubles, and the plans of later seasons with it",
    "young": "one press in its first seasons, then a new crop",
    "missed": "all plans missed by 40 % to one side",
    "drift": "a gauge that drifts by 0.04 mm a year",
    "suppliers": "parts of two makers, one steel wears 1.8 times as fast",
    "early": "half-worn parts go off at a season's end and back on later",
    "moisture": "wears twice as fast in January as in July",
    "rests": "presses rest for months unplanned, plans for one season only",
    "pins": "bores only tried with pins, every six weeks",
    "fleet": "twenty presses, gauged every twenty days",
}
