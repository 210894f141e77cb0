"""Spares to keep on the shelf, from how often they were needed and how long a new one takes to come.

Each spare that is taken is ordered anew at once (base stock, one for one). Someone who needs a spare finds
none if as many as are kept were needed during the lead time before. So the number to keep is the least s with

    P(D <= s - 1) >= service level,   D the number needed during a lead time.

With a known rate D is Poisson. The rate is known only from n needs in T days: by Jeffreys' density it is
gamma-distributed with shape n + 1/2 and rate T, and D negative binomial with success chance T / (T + lead),
which is wider than Poisson with a short record and the same with a long one. Needs are taken to come by
chance (breakage, loss); wear that a forecast sees coming is ordered by its day instead (`ordering`).

Days throughout. Without a lead time, or with a record that is shorter than it, nothing can be said. Source:
base stock with Poisson demand: Feeney and Sherbrooke 1966, Hopp and Spearman, *Factory Physics*, chapter 2
(from memory); the gamma-Poisson mixture is textbook.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from scipy import special

SERVICE_LEVEL: Final = 0.95
MOST: Final = 1000


@dataclass(frozen=True)
class SparesToKeep:
    """How many to keep; None where that can't be said, and `reason` says why. `served` is the share of needs
    that then find a spare."""

    keep: int | None
    served: float | None
    reason: str


def spares_to_keep(
    *, needed: int, days: float, lead_days: float | None, service_level: float = SERVICE_LEVEL
) -> SparesToKeep:
    """The spares to keep after `needed` needs in `days` days. Raises ValueError for negative numbers, a
    service level that is not between 0 and 1."""
    if not 0 < service_level < 1:
        raise ValueError("The service level must lie between 0 and 1.")
    if needed < 0 or not days >= 0 or (lead_days is not None and not lead_days >= 0):
        raise ValueError("Needs, days and lead time must not be negative.")
    if lead_days is None:
        return SparesToKeep(None, None, "the lead time is not known")
    if days < lead_days or days == 0:
        return SparesToKeep(None, None, "the record of needs is shorter than the lead time")
    for keep in range(MOST + 1):
        served = _fewer(keep, needed, days, lead_days)
        if served >= service_level:
            return SparesToKeep(keep, served, "")
    return SparesToKeep(None, None, f"more than {MOST} would be needed: check the lead time and the needs")


def _fewer(count: int, needed: int, days: float, lead_days: float) -> float:
    """The chance of fewer than `count` needs in a lead time, and of none in no time."""
    if lead_days == 0:
        return 1.0
    return float(special.betainc(needed + 0.5, count, days / (days + lead_days))) if count else 0.0
