"""Slips among readings: a digit or a decimal point, not the gauge's error.

A reading has the gauge's usual error or, with the probability `SHARE`, a gross one: `SIZE` times as large,
and where budgets are known never smaller than `LEAST` of one. Both are our assumptions, without a source. In
the mode a slip is SIZE errors of the gauge wide, because a fit still far from the truth must not take every
reading for a slip; once it stands, `gross` is its width.
"""

from __future__ import annotations

import numpy as np

from wearlog.calc.wear.records import Floats

SHARE, SIZE, LEAST = 0.02, 8.0, 0.35


def gross(gauge_sd: float) -> float:
    """The spread of a slip, in budgets."""
    return max(LEAST, SIZE * gauge_sd)


def odd_share(away: Floats) -> Floats:
    """How likely readings that differ by `away` gauge errors from the wear are slips, 0 to 1."""
    slip = SHARE / SIZE * np.exp(0.5 * np.minimum(away**2, 1e3) * (1.0 - SIZE**-2))
    return np.asarray(slip / (1.0 - SHARE + slip))


def believed(away: Floats) -> Floats:
    """The fraction of a full observation that such readings count for. The further off a slip is, the less it
    pulls, and none counts in the gauge's error for more than any other reading: one decimal point would
    otherwise make the gauge of a type worthless."""
    odd = odd_share(away)
    return np.asarray(1.0 - odd + odd / (SIZE**2 + away**2))
