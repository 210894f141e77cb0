"""Rebuild or buy: the lower of (price + stand-still) per tonne that such a part lasts, and how sure that is.

How long a part lasts on average is known from the lives that have ended and from those still going on
(censored: longer than this). With three ended lives or more, at two ages or more, the mean life is that of
a Weibull with the exact distribution of its pivots (`calc.weibull.pivotal`); with fewer lives are taken as
exponential, the widest that wear and breakage give, and the mean is sum(t) / G, G gamma-distributed with
the number of ended lives (twice the whole age over the mean is chi-square). Where none has ended, an expected
life can stand in, with a spread of its own.

The costs per tonne of both ways are taken at equally likely mean lives, and all pairs of them give the
difference. A way is named only where the whole range of the difference lies on its side; else it is too close
to call. Of two ways that cost the same, one is named in at most 1 - confidence of cases.

Tonnes and the mill's one currency. Without an ended and an expected life nothing can be said. Source: cost
per unit of use is common practice, no source; pivots as in `calc.weibull.pivotal`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy import special

from wearlog.calc.life import UNKNOWN, Limits
from wearlog.calc.weibull import one

Floats = npt.NDArray[np.float64]
FEW: Final = 3
CHANCES: Final = (np.arange(199) + 0.5) / 199


@dataclass(frozen=True)
class Way:
    """A way to go on: its price, the lives on record of parts that went it, with whether each has ended, and
    an expected life with its spread (a standard deviation of the logarithm), for where none has."""

    name: str
    price: float
    tonnes: Sequence[float] = ()
    ended: Sequence[bool] = ()
    stand_still_cost: float = 0.0
    expected_tonnes: float | None = None
    expected_spread: float = 0.4


@dataclass(frozen=True)
class MendOrBuy:
    """The name of the cheaper way, or None with the reason. `cost_per_tonne` is at the mean life itself,
    None where unknown; `difference` holds the first way's cost per tonne less the second's."""

    better: str | None
    cost_per_tonne: tuple[float | None, float | None]
    difference: Limits
    reason: str


def mend_or_buy(first: Way, second: Way, *, confidence: float = 0.95) -> MendOrBuy:
    """Compare two ways. Raises ValueError for lives that are not above 0, or lists of unequal lengths."""
    ways = (first, second)
    known = [_mean_lives(way) for way in ways]
    prices = [way.price + way.stand_still_cost for way in ways]
    middles = [
        None if found is None else price / found.middle for price, found in zip(prices, known, strict=True)
    ]
    mine, other = known
    if mine is None or other is None:
        unknown = [way.name for way, found in zip(ways, known, strict=True) if found is None]
        why = f"nothing is known of how long this lasts: {', '.join(unknown)}"
        return MendOrBuy(None, (middles[0], middles[1]), UNKNOWN, why)
    apart = prices[0] / mine.values[:, None] - prices[1] / other.values[None, :]
    tail = (1 - confidence) / 2
    low, high = (float(value) for value in np.quantile(apart, [tail, 1 - tail]))
    better = first.name if high < 0 else second.name if low > 0 else None
    why = "" if better else "too close to call: the range of the difference includes 0"
    return MendOrBuy(better, (middles[0], middles[1]), Limits(low, high), why)


@dataclass(frozen=True, eq=False)
class _Mean:
    """A mean life: what it is about, and equally likely values of it, shape (CHANCES,), in order."""

    middle: float
    values: Floats


def _mean_lives(way: Way) -> _Mean | None:
    tonnes, ended = np.asarray(way.tonnes, dtype=np.float64), np.asarray(way.ended, dtype=np.bool_)
    if tonnes.shape != ended.shape or np.any(~np.isfinite(tonnes)) or np.any(tonnes <= 0):
        raise ValueError("Lives must be finite and above 0, each with whether it has ended.")
    many, total = int(ended.sum()), float(tonnes.sum())
    if many >= FEW:
        found = one.mean_lives(tonnes, ended, np.ones(tonnes.size), CHANCES)
        if found is not None:
            return _Mean(float(found[CHANCES.size // 2]), found)
    if many:
        values = np.asarray(total / special.gammainccinv(many, CHANCES), dtype=np.float64)
        return _Mean(total / many, values)
    if way.expected_tonnes:
        spread = np.exp(way.expected_spread * special.ndtri(CHANCES))
        return _Mean(way.expected_tonnes, way.expected_tonnes * spread)
    return None
