"""A gamma process: wear goes on by independent gamma-distributed steps from the wear of today.

Over progress x (in budgets, by the rates that the wear model expects) wear grows by a gamma variable with
mean x and variance size * x, that is of shape x / size and scale `size`. What is left to the limit, d, is
passed within the progress x with probability

    P(growth >= d) = Q(x / size, d / size)

with Q the upper regularised incomplete gamma function, and the cases are the progresses at 64 evenly spread
probabilities. It has no memory: what an edge did before today tells nothing of how it goes on, unlike in the
wear model. `size` is found from the growth y_i between readings a fifth of the budget or more apart, less the
error of the two readings (sd s each; at the life's beginning of one):

    size = (sum((y_i - x_i)^2 - 2 s^2) + a) / (sum(x_i) + b)

a moment estimate that counts besides, with a and b, four stretches of usual steps. Growth is bounded to
between nothing (less a tenth of the budget) and two and a half times the usual, so that a slip has no
unbounded pull.

van Noortwijk, "A survey of the application of gamma processes in maintenance", Reliability Engineering and
System Safety 94, 2009, section 4 (estimation by the method of moments; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy import special

from wearlog.calc.wear.fits import EdgeFit, Scenarios
from wearlog.calc.wear.learned import Known
from wearlog.calc.wear.lives import Ints
from wearlog.calc.wear.records import Floats

APART = 0.2  # of a budget; closer readings differ by the gauge's error more than by wear
USUAL_SIZE, USUAL_COUNT, USUAL_STRETCH = 0.03, 4.0, 0.5  # our assumptions, no source
LEAST_SIZE, LEAST_LEFT = 0.002, 1e-3
SPARE = 0.1
CASES = 64


@dataclass(frozen=True)
class Steps:
    """size: variance over mean of the growth, in budgets. rates: progress per kilogram, shape (crops,)."""

    size: float
    rates: Floats
    budget: float
    harvest_spread: float


def learn_steps(known: Known) -> Steps:
    """The size of a type's steps, from its plain readings."""
    post, problem = known.posterior, known.problem
    rates, plain = np.exp(post.log_rates), problem.rows.blocks[0]
    life = problem.rows.part[plain] * problem.rows.lives + problem.rows.life[plain]
    x, wear = problem.rows.kg[plain] @ rates / problem.budget, problem.rows.wear[plain] / problem.budget
    size = size_of_steps(life, x, wear, post.wander.gauge_sd)
    return Steps(size, rates, problem.budget, post.harvests.spread)


def size_of_steps(life: Ints, x: Floats, wear: Floats, gauge_sd: float) -> float:
    """life, x, wear (n,): the life, the progress and the wear of each reading, in budgets."""
    order = np.lexsort((x, life))
    life, x, wear = life[order], x[order], wear[order]
    # Of the readings within each fifth of the budget the last one counts.
    stretch = np.floor(x / APART)
    last = np.ones(len(x), dtype=bool)
    last[:-1] = (life[1:] != life[:-1]) | (stretch[1:] != stretch[:-1])
    last &= stretch >= 1
    life, x, wear = life[last], x[last], wear[last]
    first = np.ones(len(x), dtype=bool)
    first[1:] = life[1:] != life[:-1]
    made = x - np.where(first, 0.0, np.roll(x, 1))
    grown = wear - np.where(first, 0.0, np.roll(wear, 1))
    kept = made >= APART / 2
    off = np.clip(grown - made, -made - SPARE, 1.5 * made + SPARE)[kept]
    errors = np.where(first, 1.0, 2.0)[kept] * gauge_sd**2
    usual = USUAL_COUNT * USUAL_STRETCH
    found = ((off**2 - errors).sum() + USUAL_SIZE * usual) / (made[kept].sum() + usual)
    return float(max(found, LEAST_SIZE))


def edge_by_steps(own: EdgeFit, steps: Steps) -> EdgeFit:
    """The same edge, of which the wear model says `own`, as it would go on by these steps; one that has
    passed its limit stays as it is."""
    assert own.now is not None
    if own.now.mid >= steps.budget:
        return own
    left = max(1.0 - own.now.mid / steps.budget, LEAST_LEFT)
    needed = progress_by_steps(left, steps.size, (np.arange(CASES) + 0.5) / CASES) * steps.budget
    alike = np.ones((1, CASES))
    scenarios = Scenarios(
        rates=steps.rates[None],
        needed=needed[None],
        wear_now=own.now.mid * alike,
        multiplier=alike,
        weights=alike / CASES,
        harvest_spread=steps.harvest_spread,
    )
    return replace(own, multiplier=None, scenarios=scenarios)


def progress_by_steps(left: float, size: float, chance: Floats) -> Floats:
    """The progress within which `left` is passed with each chance (n,); all in budgets."""
    # gdtrib gives the shape at which a gamma variable of this scale stays below `left` so often.
    return np.asarray(size * special.gdtrib(1.0 / size, 1.0 - chance, left))
