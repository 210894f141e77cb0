"""The figures of docs/methods/policy.md: how often each rule is wrong on simulated mills with a known truth.

    python -m tests.calc.policy.figures            # prints the tables
    python -m tests.calc.policy.figures --write    # puts them into the page

Beside each rule stands the plain one that it took the place of. `seed` makes every number repeatable.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from math import ceil
from pathlib import Path

import numpy as np
import numpy.typing as npt
from scipy import special

from tests.calc.pages import put_between
from wearlog.calc.life import fit_life, least_shape
from wearlog.calc.policy import Trend, Way, dies_to_make, mend_or_buy, replacement, stop_rule, trends_within
from wearlog.calc.weibull.many import fit_many

Floats = npt.NDArray[np.float64]
PAGE = Path(__file__).resolve().parents[3] / "docs" / "methods" / "policy.md"
BEGIN, END = "<!-- figures: python -m tests.calc.policy.figures --write -->", "<!-- /figures -->"

COST, TONNES = 600.0, 360.0
EVEN = 2 * COST / TONNES**2
"""The growth of a screw's loss at which stopping and going on cost the same."""


def trend_within(
    age: npt.ArrayLike, figure: npt.ArrayLike, group: npt.ArrayLike, block: npt.ArrayLike
) -> Trend | None:
    """The trend over one age alone."""
    ages, figures = np.asarray(age, dtype=np.float64)[None], np.asarray(figure)[None]
    return trends_within(ages, figures, group, block)[0][0]


def screw_runs(
    rng: np.random.Generator, *, grows: float, harvest: float, lot: float, noise: float, alike: float = 0.0
) -> tuple[Floats, Floats, npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    """Three harvests of twelve weeks with five runs of 2 t each: age, loss per tonne, harvest, week. Weeks
    that follow each other correlate by `alike`."""
    place = np.arange(180)
    year, week = place // 60, place // 5
    loss = grows * 2.0 * place + noise * rng.standard_normal(180)
    weeks = rng.standard_normal(36)
    for after in range(1, 36):
        weeks[after] = alike * weeks[after - 1] + (1 - alike**2) ** 0.5 * weeks[after]
    loss += harvest * rng.standard_normal(3)[year] + lot * weeks[week]
    return 2.0 * place, loss, year, week


def stop_advice(
    grows: float,
    sets: int,
    *,
    harvest: float = 15,
    lot: float = 5,
    noise: float = 8,
    alike: float = 0.0,
    seed: int = 17,
) -> tuple[list[bool | None], list[bool | None]]:
    """The advice of the rule, and that of the first third of the runs against the last."""
    rng = np.random.default_rng(seed)
    ours, thirds = [], []
    for _ in range(sets):
        age, loss, year, week = screw_runs(
            rng, grows=grows, harvest=harvest, lot=lot, noise=noise, alike=alike
        )
        trend = trend_within(age, loss, year, week)
        ours.append(stop_rule(part_and_work_cost=COST, tonnes=TONNES, loss=trend).stop)
        thirds.append(_by_thirds(loss))
    return ours, thirds


def _by_thirds(loss: Floats) -> bool | None:
    young, old = loss[:30], loss[-30:]
    now = max(0.0, float(old.mean() - young.mean()))
    reach = 1.645 * float(np.sqrt((old.var(ddof=1) + young.var(ddof=1)) / 30))
    average = COST / TONNES + now / 2
    return None if max(0.0, now - reach) <= average <= now + reach else now > average


def lives(
    rng: np.random.Generator, mean: float, shape: float, ended: int, going_on: int
) -> tuple[list[float], list[bool]]:
    tonnes = mean * rng.weibull(shape, ended + going_on) / special.gamma(1 + 1 / shape)
    tonnes[ended:] *= rng.random(going_on)
    return tonnes.tolist(), [True] * ended + [False] * going_on


def ways_named(
    *, ratio: float, shape: float, mended: int, new: int, sets: int, going_on: int = 0, seed: int = 1
) -> tuple[list[str | None], list[str | None]]:
    """What is named where a new screw costs 600 and lasts 80 t, a rebuild lasts 40 t and costs as much a
    tonne, divided by `ratio`; and what is named by the means of the ended lives, 5 % apart."""
    rng = np.random.default_rng(seed)
    ours: list[str | None] = []
    means: list[str | None] = []
    for _ in range(sets):
        mend = Way("mend", 300 / ratio, *lives(rng, 40, shape, mended, going_on))
        buy = Way("buy", 600, *lives(rng, 80, shape, new, going_on))
        ours.append(mend_or_buy(mend, buy).better)
        cost = [way.price / float(np.mean(np.array(way.tonnes)[np.array(way.ended)])) for way in (mend, buy)]
        low, high = sorted(cost)
        means.append(None if low > 0.95 * high else ("mend", "buy")[int(np.argmin(cost))])
    return ours, means


def early_changes(
    shape: float, failures: int, sets: int, *, censored: int = 0, seed: int = 0
) -> tuple[float, float]:
    """The share of sets of lives for which an early change is advised, where a failure costs ten times as
    much as planned work: by the exact lower limit of the shape, and by that of the likelihood ratio."""
    rng = np.random.default_rng(seed)
    given = np.zeros(2)
    for _ in range(sets):
        ages = 100 * rng.weibull(shape, failures + censored)
        failed = np.arange(ages.size) < failures
        ages[failures:] *= rng.random(censored)
        life = fit_life(ages, failed)
        if life.basis != "mle" or life.shape is None or life.scale is None:
            continue
        by_likelihood = float(fit_many(ages, failed, by_likelihood=True).shape_low[0])
        for place, low in enumerate((least_shape(ages, failed), by_likelihood)):
            found = replacement(
                shape=life.shape, scale=life.scale, planned_cost=1, failure_cost=10, shape_low=low
            )
            given[place] += found.best_age is not None
    return float(given[0] / sets), float(given[1] / sets)


def _per_cent(found: Sequence[object], what: object) -> str:
    return f"{100 * found.count(what) / len(found):.1f} %"


def tables(sets: int) -> list[str]:
    lines = [
        "Screws that are stopped, by how fast their loss grows (1: both ways cost the same), and by how much "
        f"harvests, weeks and runs differ; {sets:,} each:",
        "",
        "| growth | harvests | weeks | next week alike | stopped | by thirds of all runs |",
        "| --- | --- | --- | --- | --- | --- |",
    ]
    for harvest, lot, alike in ((0.0, 0.0, 0.0), (15.0, 5.0, 0.0), (15.0, 10.0, 0.0), (15.0, 10.0, 0.6)):
        for share in (0.0, 0.5, 1.0, 20.0):
            ours, thirds = stop_advice(share * EVEN, sets, harvest=harvest, lot=lot, alike=alike)
            cells = f"{_per_cent(ours, True)} | {_per_cent(thirds, True)}"
            lines.append(f"| {share:g} | {harvest:g} | {lot:g} | {alike:g} | {cells} |")
    lines += [
        "",
        f"Ways named in {sets:,} mills each, where both cost the same a tonne, and where a rebuild costs "
        "half as much:",
        "",
        "| ended lives, rebuilt and new | going on | shape | named in a tie | by the means | half is named |",
        "| --- | --- | --- | --- | --- | --- |",
    ]
    for mended, new, going_on, shape in (
        (1, 1, 0, 3.0),
        (2, 2, 0, 1.3),
        (3, 3, 0, 3.0),
        (3, 6, 2, 3.0),
        (6, 6, 0, 1.3),
        (6, 6, 2, 3.0),
        (12, 12, 0, 3.0),
    ):
        (tie, means), (half, _) = (
            ways_named(ratio=ratio, shape=shape, mended=mended, new=new, going_on=going_on, sets=sets)
            for ratio in (1.0, 2.0)
        )
        named = [f"{100 * (1 - found.count(None) / sets):.1f} %" for found in (tie, means)]
        row = (
            f"| {mended}, {new} | {going_on} | {shape:g} | {' | '.join(named)} | {_per_cent(half, 'mend')} |"
        )
        lines.append(row)
    lines += [
        "",
        "Dies with two edges of 11.0 t and a spread of 1.2 t, none at hand, at 99 %; the rule before divided "
        "by the 10 % life of an edge and added one for each of three presses:",
        "",
        "| planned seed, t | make | chance | the rule before |",
        "| --- | --- | --- | --- |",
    ]
    for planned in (20.0, 120.0, 320.0):
        found = dies_to_make(planned=planned, new_edge=(11.0, 1.2), edges=2, service_level=0.99)
        before = ceil(planned / (2 * (11.0 - 1.2816 * 1.2))) + 3
        lines.append(f"| {planned:g} | {found.make} | {100 * (found.enough or 0):.1f} % | {before} |")
    lines += [
        "",
        f"Early changes advised for parts that fail by chance, {sets:,} sets each (2.5 % is nominal):",
        "",
        "| failures | going on | advised | by a likelihood-ratio limit |",
        "| --- | --- | --- | --- |",
    ]
    for failures, censored in ((3, 0), (5, 0), (5, 5), (10, 0), (20, 0)):
        ours_, own = early_changes(1.0, failures, sets, censored=censored, seed=failures)
        lines.append(f"| {failures} | {censored} | {100 * ours_:.1f} % | {100 * own:.1f} % |")
    return lines


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--write", action="store_true")
    parser.add_argument("--sets", type=int, default=2_000)
    asked = parser.parse_args()
    lines = tables(asked.sets)
    print("\n".join(lines))
    if asked.write:
        put_between(PAGE, BEGIN, END, lines)


if __name__ == "__main__":
    main()
