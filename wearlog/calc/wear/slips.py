"""How often gauge readings are slips, and how large: a decimal point, a digit, the wrong edge.

A reading has the gauge's usual error or, with the probability `share`, a gross one. Two questions are asked
of readings, and each has its own share and size:

- `IN_THE_FIT`: how much does a reading count while rates and shape are found? It is held against the middle
  of what is believed, and nothing of how sure that is enters. So slips are said to be rarer and larger, and a
  reading up to three gauge errors off still influences the fit.
- `AMONG_OTHERS`: is it a slip, by all other readings of its part, with all that is not sure of them? That
  tells slips apart better, so that one in fifty may be one, and eight gauge errors suffice.

All numbers are the project's own choice. Neither pair may be put in place of the other without measuring
anew how often ranges hold (docs/methods/wear-ranges.md).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from wearlog.calc.wear.records import Floats


@dataclass(frozen=True)
class Slips:
    """The share of readings that are slips, and the standard deviation of a slip in gauge errors."""

    share: float
    size: float


IN_THE_FIT: Final = Slips(share=0.01, size=10.0)
AMONG_OTHERS: Final = Slips(share=0.02, size=8.0)
GROSS: Final = 0.35
"""A slip found among others is spread at least so far, in budgets: a third of the way from new to limit."""


def odd_share(away: Floats) -> Floats:
    """How likely readings that differ by `away` gauge errors from the wear are gross errors, 0 to 1:
    w / (1 - share + w), with w = share / size * exp(away^2 / 2 * (1 - 1 / size^2))."""
    share, size = IN_THE_FIT.share, IN_THE_FIT.size
    slip = share / size * np.exp(0.5 * np.minimum(away**2, 1e3) * (1.0 - size**-2))
    return np.asarray(slip / (1.0 - share + slip))


def gross(gauge_sd: float) -> float:
    """The spread of a slip among others, in budgets like the gauge's error: a digit or a decimal point, not
    the gauge."""
    return max(GROSS, AMONG_OTHERS.size * gauge_sd)
