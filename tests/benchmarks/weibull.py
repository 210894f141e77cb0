"""Weibull fits with limits, beside general-purpose survival libraries, on the same data in one run. By hand:

    python -m venv /tmp/libraries
    /tmp/libraries/bin/pip install lifelines surpyval reliability
    OPENBLAS_NUM_THREADS=1 PYTHONPATH=. /tmp/libraries/bin/python -m tests.benchmarks.weibull

The libraries are no part of the project; one that is not installed is named as absent. Ours has exact limits
with three failures and more. Every line is a fit of both
parameters with 95 % limits of each, of the kind that the library gives (Wald: from the
curvature; LR: from the likelihood ratio). Libraries take turns in each round, on one thread. Printed are
the least and the median over the rounds, and the ratio to ours of both. Nothing here passes or fails.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("OMP_NUM_THREADS", "1")

import contextlib
import importlib
import importlib.metadata
import io
import time
import warnings
from collections.abc import Callable, Mapping
from functools import partial
from statistics import median
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy import stats

from wearlog.calc.weibull.many import fit_many
from wearlog.calc.weibull.one import fit_one

Floats = npt.NDArray[np.float64]
Dead = npt.NDArray[np.bool_]
Fit = Callable[[Floats, Dead], object]

SIZES = (6, 20, 200, 5_000)
ROUNDS = {6: 9, 20: 9, 200: 9, 5_000: 5}
BATCH, BATCH_SIZES, BATCH_ROUNDS = 1_000, (6, 20, 200), 5
DROP = float(stats.chi2.ppf(0.95, 1)) / 2
LIBRARIES = ("lifelines", "surpyval", "reliability")


def sample(seed: int, size: int) -> tuple[Floats, Dead]:
    """Lives of shape 2.2 and scale 1,500 h, three in ten cut short at random."""
    chance = np.random.default_rng(seed)
    life = 1500.0 * chance.weibull(2.2, size)
    cut = np.where(chance.random(size) < 0.3, life * chance.uniform(0.2, 1.0, size), np.inf)
    return np.minimum(life, cut), life <= cut


def of_lifelines(library: Any) -> Mapping[str, Fit]:
    def fit(ages: Floats, dead: Dead) -> object:
        fitted = library.WeibullFitter().fit(ages, event_observed=dead)
        return fitted.summary

    return {"lifelines, Wald": fit}


def of_surpyval(library: Any) -> Mapping[str, Fit]:
    def with_limits(method: str) -> Fit:
        def fit(ages: Floats, dead: Dead) -> object:
            fitted = library.Weibull.fit(ages, c=(~dead).astype(int))
            return [fitted.param_cb(name, method=method) for name in ("alpha", "beta")]

        return fit

    return {"surpyval, Wald": with_limits("wald"), "surpyval, LR": with_limits("lr")}


def of_reliability(library: Any) -> Mapping[str, Fit]:
    fitters = importlib.import_module("reliability.Fitters")

    def fit(ages: Floats, dead: Dead) -> object:
        return fitters.Fit_Weibull_2P(
            failures=ages[dead],
            right_censored=ages[~dead],
            show_probability_plot=False,
            print_results=False,
        )

    return {"reliability, Wald": fit}


MAKERS = {"lifelines": of_lifelines, "surpyval": of_surpyval, "reliability": of_reliability}


def found_libraries() -> dict[str, Fit]:
    """The fits of the libraries that are installed; the others are named."""
    fits: dict[str, Fit] = {}
    for name in LIBRARIES:
        try:
            library = importlib.import_module(name)
        except ImportError as absent:
            print(f"{name}: absent ({absent})")
            continue
        print(f"{name} {importlib.metadata.version(name)}")
        fits.update(MAKERS[name](library))
    return fits


def ours(ages: Floats, dead: Dead) -> object:
    return fit_one(ages, dead, np.ones(ages.size), drop=DROP)


def repeated(fit: Fit, ages: Floats, dead: Dead, times: int) -> None:
    for _ in range(times):
        fit(ages, dead)


def timed(work: Callable[[], object]) -> float:
    begun = time.process_time()
    with contextlib.redirect_stdout(io.StringIO()):
        work()
    return time.process_time() - begun


def show(name: str, taken: list[float], base: list[float]) -> None:
    least, middle = min(taken), median(taken)
    print(
        f"  {name:<22} {1e3 * least:>10.3f} {1e3 * middle:>10.3f} "
        f"{least / min(base):>9.0f} {middle / median(base):>9.0f}"
    )


def heading(text: str) -> None:
    print(f"\n{text}\n  {'':<22} {'least, ms':>10} {'median, ms':>10} {'ratio':>9} {'ratio':>9}")


def single_fits(others: Mapping[str, Fit]) -> dict[int, dict[str, list[float]]]:
    every = {"ours": ours, **others}
    taken: dict[int, dict[str, list[float]]] = {size: {name: [] for name in every} for size in SIZES}
    for size in SIZES:
        for seed in range(-1, ROUNDS[size]):
            ages, dead = sample(seed + 100, size)
            for name, fit in every.items():
                # Ours is over before a clock ticks: repeated, and the mean taken.
                times = 50 if name == "ours" and size < 5_000 else 1
                each = timed(partial(repeated, fit, ages, dead, times)) / times
                if seed >= 0:  # the first round loads and compiles what is needed
                    taken[size][name].append(each)
        heading(f"One fit with limits, n = {size:,}, {ROUNDS[size]} samples")
        for name in every:
            show(name, taken[size][name], taken[size]["ours"])
    return taken


def batches(single: Mapping[int, Mapping[str, list[float]]]) -> None:
    """A thousand data sets in one call, per fit, against what the libraries take for one."""
    for size in BATCH_SIZES:
        drawn = [sample(1_000 + number, size) for number in range(BATCH)]
        ages, dead = np.stack([one[0] for one in drawn]), np.stack([one[1] for one in drawn])
        fit_many(ages[:10], dead[:10])
        taken = [timed(partial(fit_many, ages, dead)) / BATCH for _ in range(BATCH_ROUNDS)]
        heading(f"{BATCH:,} fits with limits in one call, n = {size:,}, per fit, {BATCH_ROUNDS} rounds")
        show("ours, in one call", taken, taken)
        for name, alone in single[size].items():
            show(f"{name}, alone", alone, taken)


def main() -> None:
    warnings.filterwarnings("ignore")
    print("Processor time; ratio: how many times ours, of the least and of the medians.")
    batches(single_fits(found_libraries()))


if __name__ == "__main__":
    main()
