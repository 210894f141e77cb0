"""How often the limits of a Weibull hold the truth, by simulation, for several ways to watch parts.

    python -m tests.calc.weibull.coverage            # prints the table
    python -m tests.calc.weibull.coverage --write    # puts it into docs/methods/life.md

True shape 2 and scale 1,000; the limits of shape and scale do not depend on these, since ages count relative
to the scale and to the power of the shape. Where parts are censored at an age, the number of failures is a
matter of chance: its mean is set. Whoever looks at a fixed age sees sets with fewer than three failures, in
which the shape is assumed; they are left out, and what is left seems to fail sooner than it does. Whoever
looks on until three have failed leaves nothing out. `seed` makes every number repeatable.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from tests.calc.pages import put_between
from wearlog.calc.weibull.many import fit_many

Floats = npt.NDArray[np.float64]
SHAPE, SCALE = 2.0, 1000.0
B10 = SCALE * (-np.log(0.9)) ** (1 / SHAPE)
PAGE = Path(__file__).resolve().parents[3] / "docs" / "methods" / "life.md"
BEGIN, END = "<!-- limits: python -m tests.calc.weibull.coverage --write -->", "<!-- /limits -->"


@dataclass(frozen=True)
class Scheme:
    """How `units` parts are watched until `failures` of them have failed: `to_the_last` all of them (with as
    many units as failures) or until the last of these failures; `to_an_age` all to the same age;
    `joined_late` each to an age of its own, evenly between 0 and the oldest's. until_three: all are watched
    on until three have failed."""

    name: str
    units: int
    failures: int
    until_three: bool = False

    def draw(self, rng: np.random.Generator, sets: int) -> tuple[Floats, npt.NDArray[np.bool_]]:
        """Ages and whether each failed, shape (sets, units)."""
        ages = SCALE * rng.weibull(SHAPE, (sets, self.units))
        if self.name == "to_the_last":
            end = np.sort(ages, axis=1)[:, [self.failures - 1]]
        elif self.name == "to_an_age":
            end = np.full((sets, 1), SCALE * (-np.log1p(-self.failures / self.units)) ** (1 / SHAPE))
        else:
            end = self._oldest() * rng.random(ages.shape)
        if self.until_three:
            end = end + np.maximum(0.0, np.sort(ages - end, axis=1)[:, [2]])
            # The third failure itself, whatever rounding makes of it.
            end = np.where(np.abs(ages - end) < 1e-9 * SCALE, ages, end)
        return np.minimum(ages, end), ages <= end

    def _oldest(self) -> float:
        """The greatest age under watch for which the expected number of failures is as set."""
        share, low, high = (np.arange(4000) + 0.5) / 4000, 1e-3 * SCALE, 1e3 * SCALE
        for _ in range(60):
            middle = (low * high) ** 0.5
            expected = self.units * float(np.mean(-np.expm1(-((middle * share / SCALE) ** SHAPE))))
            low, high = (middle, high) if expected < self.failures else (low, middle)
        return low


WORDS = {
    ("to_the_last", False): "to the last of these failures",
    ("to_an_age", False): "all to one age",
    ("to_an_age", True): "all to one age, and on to the third failure",
    ("joined_late", False): "each to its own age",
    ("joined_late", True): "each to its own age, and on to the third failure",
}
FEW = ((12, 3), (12, 4), (12, 5), (20, 7))
MORE = ((20, 10), (40, 20), (60, 30), (100, 50))
SCHEMES = [
    *(Scheme("to_the_last", failures, failures) for failures in (3, 4, 5, 7, 10, 15, 20, 30, 50)),
    *(Scheme("to_the_last", *sizes) for sizes in (*FEW, *MORE)),
    *(Scheme(name, *sizes, True) for name in ("to_an_age", "joined_late") for sizes in FEW),
    *(Scheme(name, *sizes) for name in ("to_an_age", "joined_late") for sizes in (*FEW[:3], *MORE)),
]


@dataclass(frozen=True)
class Coverage:
    """The share of sets whose limits hold the truth, and the share whose lower limit of the shape lies above
    it, which is what wrongly says that parts wear out."""

    kept: int
    shape: float
    scale: float
    b10: float
    shape_too_high: float


def coverage(
    scheme: Scheme, *, sets: int, seed: int, confidence: float = 0.95, by_likelihood: bool = False
) -> Coverage:
    ages, failed = scheme.draw(np.random.default_rng(seed), sets)
    found = fit_many(ages, failed, confidence=confidence, by_likelihood=by_likelihood)
    kept = found.fitted & (found.failures >= 3)

    def held(low: Floats, high: Floats, truth: float) -> float:
        return float(np.mean((low[kept] < truth) & (truth < high[kept])))

    return Coverage(
        int(kept.sum()),
        held(found.shape_low, found.shape_high, SHAPE),
        held(found.scale_low, found.scale_high, SCALE),
        held(found.b10_low, found.b10_high, B10),
        float(np.mean(found.shape_low[kept] >= SHAPE)),
    )


def table(*, sets: int, seed: int) -> list[str]:
    lines = [
        "| watched | parts | failures | shape | scale | B10 | shape's lower limit too high "
        "| likelihood ratio: shape | scale | B10 | shape's lower limit too high |",
        "| --- " * 11 + "|",
    ]
    for place, scheme in enumerate(SCHEMES):
        about = "" if scheme.name == "to_the_last" else "about "
        shares = []
        for by_likelihood in (False, True):
            got = coverage(scheme, sets=sets, seed=seed + place, by_likelihood=by_likelihood)
            shares += [got.shape, got.scale, got.b10, got.shape_too_high]
        cells = " | ".join(f"{100 * share:.1f} %" for share in shares)
        every = scheme.units == scheme.failures
        words = "to the end" if every else WORDS[scheme.name, scheme.until_three]
        lines.append(f"| {words} | {scheme.units} | {about}{scheme.failures} | {cells} |")
    return lines


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--write", action="store_true")
    parser.add_argument("--sets", type=int, default=20_000)
    parser.add_argument("--seed", type=int, default=2026)
    asked = parser.parse_args()
    lines = table(sets=asked.sets, seed=asked.seed)
    print("\n".join(lines))
    if asked.write:
        put_between(PAGE, BEGIN, END, lines)


if __name__ == "__main__":
    main()
