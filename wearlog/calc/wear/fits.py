"""What the wear model answers: rates, multipliers, and how much seed an edge can still take."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import dataclass, field

import numpy as np

from wearlog.calc.wear.records import Floats

# A little below, so that where equal cases add up to just 50 % rounding does not choose between two of them.
POINTS = np.array([0.1, 0.5, 0.9]) - 1e-4
BASES = ("measured", "fleet", "expected_life", "none")


@dataclass(frozen=True)
class Quantiles:
    """The 10 %, 50 % and 90 % points of what is believed of a number."""

    low: float
    mid: float
    high: float

    @classmethod
    def of(cls, values: Floats, weights: Floats | None = None) -> Quantiles:
        """Of equally likely values, or of values that are as likely as `weights` (same shape) say."""
        values = values.ravel()
        order = np.argsort(values, kind="stable")
        shares = np.full(len(values), 1.0) if weights is None else weights.ravel()[order]
        grown = np.cumsum(shares)
        low, mid, high = values[order[np.searchsorted(grown, POINTS * grown[-1])]]
        return cls(float(low), float(mid), float(high))


@dataclass(frozen=True, kw_only=True)
class Scenarios:
    """Fixed (never random) cases of what is not known of one edge, and how likely each is.

    Each of the G rows is a case of the type's rates; each of the T columns a case of the edge's own
    condition given those rates. All have shape (G, T) but `rates` (G, crops). `weights` add up to 1.

    needed: progress (the sum over crops of rate times seed, from now on) at which the limit is reached;
        negative where it was reached in the past, infinite where it never is.
    rates: progress per unit of seed.
    """

    rates: Floats
    needed: Floats
    wear_now: Floats
    multiplier: Floats
    weights: Floats


@dataclass(frozen=True, kw_only=True)
class EdgeFit:
    """What is believed of one edge at the forecast day.

    basis: "measured" (its own gauges tell), "fleet" (other edges of the type), "expected_life", or "none".
    reason: why nothing is said, where basis is "none".
    now: wear toward the limit since new; None where unknown. multiplier: against the fleet (1 is average).
    """

    key: Hashable
    basis: str
    reason: str = ""
    now: Quantiles | None = None
    multiplier: Quantiles | None = None
    scenarios: Scenarios | None = field(default=None, repr=False)

    def seed_left(self, mix: Floats) -> Quantiles | None:
        """Seed of this crop mix (any positive weights, shape (crops,)) until the limit, 10/50/90 %.

        Never below 0 (a limit that is passed leaves nothing); None where nothing is known, where the mix is
        empty, or where the upper end has no bound."""
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
    """What is believed of a part type.

    rates: wear per unit of seed and crop of an average edge over its whole life, None for a crop of which
        nothing is known. gauge_sd: what one reading is off by. spread: of the multipliers, as a standard
        deviation of their logarithm. edges: by key. new_edge: a part of the type that was never used.
    """

    key: Hashable
    rates: tuple[Quantiles | None, ...]
    gauge_sd: float | None
    spread: float | None
    edges: Mapping[Hashable, EdgeFit]
    new_edge: EdgeFit
