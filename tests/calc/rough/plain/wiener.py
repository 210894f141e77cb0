"""A line that wanders: wear is multiplier * progress + a Wiener process, read with error.

Over progress x (by the rates of `line.py`) the covariance of wear is

    spread^2 * x * x' + noise * L * min(x, x'),

L the budget; spread, noise (zero allowed) and the error of a reading are those of the highest likelihood on a
grid, with weak priors. Wear ahead is normal given the readings; the limit is reached where its 90, 50 and 10
% points pass it. The only plain method that follows a new pace of work: by what the press has kept of its
plan on the last sixty planned days.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from tests.calc.rough.mill import FIRST_DAY, Mill
from tests.calc.rough.plain.line import TENTH, Line, multiplier, with_plan
from tests.calc.rough.plain.path import Days, Path
from tests.calc.rough.plain.seen import Seen

NOISES = (0.0, 0.003, 0.01, 0.03, 0.06, 0.1)
SPREADS = (0.1, 0.2, 0.3)
ERRORS = (0.6, 1.0)  # in parts of the line's


@dataclass(frozen=True)
class Wandering:
    line: Line
    noise: float
    spread: float
    error: float

    def covariance(self, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        own = self.spread**2 * np.outer(x, y)
        return np.asarray(own + self.noise * self.line.budget * np.minimum.outer(x, y))

    def of_readings(self, x: np.ndarray) -> np.ndarray:
        return self.covariance(x, x) + self.error**2 * np.eye(len(x))

    def likelihood(self, x: np.ndarray, wear: np.ndarray) -> float:
        root = np.linalg.cholesky(self.of_readings(x))
        off = np.linalg.solve(root, wear - x)
        return float(-0.5 * off @ off - np.log(np.diag(root)).sum())


def believed(line: Line, one: Seen) -> tuple[np.ndarray, np.ndarray]:
    """Progress and wear at the readings that aren't far off the line of their edge."""
    made = one.kg @ line.rates
    found = multiplier(one, line.rates)
    kept = made > 0
    if found is not None:
        kept &= np.abs(one.wear - found[0] * made) < max(5.0 * line.sd, 0.25 * line.budget)
    return made[kept], one.wear[kept]


def learn_wandering(line: Line, lives: Sequence[Seen]) -> Wandering:
    rows = [row for row in (believed(line, one) for one in lives) if len(row[0])]
    best, found = -np.inf, Wandering(line, NOISES[0], SPREADS[1], line.sd)
    for noise, spread, part in product(NOISES, SPREADS, ERRORS):
        tried = Wandering(line, noise, spread, part * line.sd)
        fit = -(np.log(spread / 0.2) ** 2) - 0.5 * noise / 0.03 - 0.5 * np.log(tried.error / 0.03) ** 2
        fit += sum(tried.likelihood(x, wear) for x, wear in rows)
        if fit > best:
            best, found = fit, tried
    return found


def days_by_wandering(model: Wandering, one: Seen, path: Path, kept: float) -> Days | None:
    line = model.line
    x, wear = believed(line, one)
    now = float(one.now_kg @ line.rates)
    ahead = np.concatenate([[0.0], line.budget * np.geomspace(1e-3, 20.0, 400)])
    at = now + ahead
    mean = at.copy()
    variance = model.spread**2 * at**2 + model.noise * line.budget * at
    if len(x):
        shared = model.covariance(at, x)
        gain = np.linalg.solve(model.of_readings(x), shared.T).T
        mean += gain @ (wear - x)
        variance -= (gain * shared).sum(axis=1)
    sd = np.sqrt(np.maximum(variance, 1e-12))
    needed = []
    for z in (TENTH, 0.0, -TENTH):
        passed = np.flatnonzero(mean + z * sd >= line.budget)
        needed.append(float(ahead[passed[0]] if len(passed) else ahead[-1]))
    return path.days([max(left, 0.0) / kept for left in with_plan(needed)], line.rates)


def kept_of_plan(mill: Mill, press: int, day: int) -> float:
    """Pressed over planned seed of the last sixty planned days, drawn to 1 as if by ten more."""
    planned = np.zeros(day + 1)
    for line in mill.known_plan(press, day):
        begin, end = max(line.start - FIRST_DAY, 0), min(line.end + 1 - FIRST_DAY, day + 1)
        planned[begin:end] += line.seed_kg / (line.end - line.start + 1)
    days = np.flatnonzero(planned)[-60:]
    if not len(days):
        return 1.0
    pressed = float(mill.seed[press][days].sum())
    ratio = max(pressed, 1.0) / float(planned[days].sum())
    return float(np.exp(np.log(ratio) * len(days) / (len(days) + 10.0)))
