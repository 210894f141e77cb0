"""Results of the wear model: rates, multipliers, and how much seed an edge can still take."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import dataclass, field

import numpy as np

from wearlog.calc.wear.records import Floats

# Slightly lowered: where equal weights add up to exactly 50 %, rounding must not choose between two cases.
POINTS = np.array([0.1, 0.5, 0.9]) - 1e-4
BASES = ("measured", "fleet", "expected_life", "none")


@dataclass(frozen=True)
class Quantiles:
    """The 10 %, 50 % and 90 % points of the distribution of an uncertain number."""

    low: float
    mid: float
    high: float

    @classmethod
    def of(cls, values: Floats, weights: Floats | None = None) -> Quantiles:
        """The quantiles of equally likely values, or of values with these `weights` (same shape)."""
        values = values.ravel()
        order = np.argsort(values, kind="stable")
        shares = np.full(len(values), 1.0) if weights is None else weights.ravel()[order]
        grown = np.cumsum(shares)
        low, mid, high = values[order[np.searchsorted(grown, POINTS * grown[-1])]]
        return cls(float(low), float(mid), float(high))


@dataclass(frozen=True, kw_only=True)
class Scenarios:
    """Fixed (never random) cases of what is not known about one edge, with their probabilities.

    Each of the G rows is a case of the type's rates; each of the T columns a case of the edge's own
    condition given those rates. All arrays have shape (G, T), except `rates` (G, crops). `weights` add up to
    1.

    needed: further progress (the sum over crops of rate times seed, from now on) at which the limit is
        reached; negative where it has already been passed, infinite where it never is.
    rates: progress per unit of seed.
    harvests: how much each crop's harvest of today wears in parts of the usual, shape (G, T, crops); None
        where nothing is known of harvests. harvest_spread: the standard deviation of its logarithm for any
        later harvest.
    """

    rates: Floats
    needed: Floats
    wear_now: Floats
    multiplier: Floats
    weights: Floats
    harvests: Floats | None = None
    harvest_spread: float = 0.0


@dataclass(frozen=True, kw_only=True)
class EdgeFit:
    """The state of one edge on the forecast day.

    basis: what it is estimated from: "measured" (its own gauges), "fleet" (other edges of the type),
        "expected_life", or "none".
    reason: why there is no estimate, where basis is "none".
    now: wear toward the limit since new; None where unknown. multiplier: relative to the fleet (1 is
    average).
    """

    key: Hashable
    basis: str
    reason: str = ""
    now: Quantiles | None = None
    multiplier: Quantiles | None = None
    scenarios: Scenarios | None = field(default=None, repr=False)

    def seed_left(self, mix: Floats) -> Quantiles | None:
        """Seed until the limit, 10/50/90 %, for a crop mix (any positive weights, shape (crops,)).

        Never below 0 (nothing is left once the limit is passed); None where nothing is known, where the mix
        is empty, or where the upper end has no bound."""
        mix = np.asarray(mix, dtype=float)
        total = float(mix.sum())
        if self.scenarios is None or not total > 0:
            return None
        per_kg = self.scenarios.rates @ (mix / total)
        with np.errstate(divide="ignore", invalid="ignore"):
            left = np.maximum(self.scenarios.needed, 0.0) / per_kg[:, None]
        found = Quantiles.of(np.where(np.isnan(left), np.inf, left), self.scenarios.weights)
        return found if np.isfinite(found.high) else None


@dataclass(frozen=True, kw_only=True)
class TypeFit:
    """The fit of a part type.

    rates: wear per unit of seed and crop of an average edge over its whole life, None for a crop about which
        nothing is known. gauge_sd: standard deviation of the error of one reading. spread: standard deviation
        of the logarithm of the multipliers. edges: by key. new_edge: an edge that was never used.
    """

    key: Hashable
    rates: tuple[Quantiles | None, ...]
    gauge_sd: float | None
    spread: float | None
    edges: Mapping[Hashable, EdgeFit]
    new_edge: EdgeFit
