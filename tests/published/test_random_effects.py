"""What is usual for several parts, against a published analysis of thirteen trials with random effects.

Counts: Colditz and others, "Efficacy of BCG vaccine in the prevention of tuberculosis", JAMA 271, 1994.
Results of the method of DerSimonian and Laird for the logarithm of the relative risk: Viechtbauer,
"Conducting meta-analyses in R with the metafor package", Journal of Statistical Software 36(3), 2010. Counts
and results from memory.
"""

from __future__ import annotations

from math import log, sqrt

import pytest

from wearlog.calc.policy import Trend, usual_trend

TRIALS = (
    (4, 119, 11, 128), (6, 300, 29, 274), (3, 228, 11, 209), (62, 13536, 248, 12619), (33, 5036, 47, 5761),
    (180, 1361, 372, 1079), (8, 2537, 10, 619), (505, 87886, 499, 87892), (29, 7470, 45, 7232),
    (17, 1699, 65, 1600), (186, 50448, 141, 27197), (5, 2493, 3, 2338), (27, 16886, 29, 17825),
)  # fmt: skip
"""Cases and others among those who were vaccinated, and among those who were not."""


def test_mean_and_variance_between_trials_are_those_that_were_published() -> None:
    trends = []
    for a, b, c, d in TRIALS:
        ratio = log(a / (a + b) / (c / (c + d)))
        trends.append(Trend(ratio, sqrt(1 / a - 1 / (a + b) + 1 / c - 1 / (c + d)), 10.0, 1.0))
    usual = usual_trend(trends)
    assert usual is not None
    assert usual.between == pytest.approx(0.3088, abs=5e-5)
    assert usual.mean == pytest.approx(-0.7141, abs=5e-5)
    assert sqrt(usual.variance) == pytest.approx(0.1787, abs=5e-5)
