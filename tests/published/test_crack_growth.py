"""Growth of fatigue cracks, a degradation data set that gamma and Wiener processes are tried on.

Ten specimens, inspected every 0.1 million cycles; the lengths beyond the first are as carried by a public
collection (lucas992x/gammaprocesses, fatiguecrack_data.txt), which names Rodriguez-Picon and others,
"Degradation modeling based on gamma process models with random effects". No estimates were found in print:
the processes are fitted with scipy's general-purpose distributions instead.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from wearlog.calc.wear import EdgeRecord, Gauge, TypeFit, TypeRecord, fit_type

CYCLES = 100.0 * np.arange(1, 10)
# Inches of growth at 0.1 to 0.9 million cycles.
GROWTH = np.array(
    [
        [0.010, 0.030, 0.055, 0.107, 0.165, 0.183, 0.200, 0.260, 0.302],
        [0.090, 0.161, 0.172, 0.247, 0.259, 0.281, 0.371, 0.401, 0.429],
        [0.010, 0.060, 0.081, 0.118, 0.142, 0.158, 0.169, 0.232, 0.262],
        [0.016, 0.076, 0.087, 0.104, 0.127, 0.198, 0.208, 0.218, 0.258],
        [0.036, 0.096, 0.176, 0.204, 0.242, 0.281, 0.325, 0.415, 0.495],
        [0.014, 0.102, 0.112, 0.194, 0.277, 0.289, 0.305, 0.335, 0.391],
        [0.037, 0.064, 0.078, 0.096, 0.124, 0.164, 0.234, 0.254, 0.326],
        [0.035, 0.086, 0.105, 0.174, 0.267, 0.277, 0.347, 0.361, 0.384],
        [0.067, 0.148, 0.161, 0.173, 0.184, 0.218, 0.219, 0.229, 0.275],
        [0.025, 0.052, 0.064, 0.076, 0.151, 0.187, 0.205, 0.222, 0.262],
    ]
)
LIMIT = 0.25


def fitted(inspections: int) -> TypeFit:
    edges = tuple(
        EdgeRecord(
            key=number,
            part=number,
            gauges=tuple(
                Gauge(at=at, value=value)
                for at, value in zip(CYCLES[:inspections].tolist(), row[:inspections].tolist(), strict=True)
            ),
            gauge_kg=CYCLES[:inspections, None],
            work_kg=np.zeros((0, 1)),
            now_kg=CYCLES[inspections - 1 : inspections],
        )
        for number, row in enumerate(GROWTH)
    )
    return fit_type(TypeRecord(key="crack", new=0.0, limit=LIMIT, crops=1, edges=edges, gauge_guess=0.005))


def test_the_rate_is_that_of_a_gamma_and_of_a_wiener_process() -> None:
    steps = np.diff(GROWTH, axis=1, prepend=0.0)
    drift, _diffusion = stats.norm.fit(steps)  # a Wiener process's steps
    shape, _start, scale = stats.gamma.fit(steps, floc=0)  # a gamma process's
    assert shape * scale == pytest.approx(drift, rel=1e-6)
    (rate,) = fitted(9).rates
    assert rate is not None
    assert rate.low < drift / 100 < rate.high
    assert rate.mid == pytest.approx(drift / 100, rel=0.1)


def interval_score(low: float, high: float, truth: float, outside: float = 0.2) -> float:
    """Gneiting and Raftery 2007, section 6.2: the width, and what lies outside times 2 / alpha."""
    return high - low + 2 / outside * (max(0.0, low - truth) + max(0.0, truth - high))


def test_ranges_after_four_inspections_hold_most_crossings() -> None:
    fit = fitted(4)
    shape, _start, scale = stats.gamma.fit(np.diff(GROWTH[:, :4], axis=1, prepend=0.0), floc=0)
    held, ours, theirs = 0, [], []
    for number, row in enumerate(GROWTH):
        left = fit.edges[number].seed_left(np.ones(1))
        assert left is not None
        crossing = float(np.interp(LIMIT, row, CYCLES)) - 400.0
        held += left.low <= crossing <= left.high
        ours.append(interval_score(left.low, left.high, crossing))
        # P(not yet at the limit after x) = P(gamma(shape x / 100) < what is left); its 10 and 90 % points.
        ahead = np.linspace(1.0, 2000.0, 2000)
        below = stats.gamma.cdf(LIMIT - row[3], shape * ahead / 100, scale=scale)
        early, late = float(ahead[below >= 0.9][-1]), float(ahead[below >= 0.1][-1])
        theirs.append(interval_score(early, late, crossing))
    assert held >= 7
    # Here wear is a gamma process and ten parts are few to learn from: its own range scores better.
    assert np.mean(ours) < 1.7 * np.mean(theirs)
