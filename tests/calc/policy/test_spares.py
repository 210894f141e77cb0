"""Spares to keep: enough for the needs of a lead time, with the rate known only from the record."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from wearlog.calc.policy import spares_to_keep


@pytest.mark.parametrize("needed", [0, 1, 5, 40])
@pytest.mark.parametrize("level", [0.8, 0.95, 0.99])
def test_the_number_is_that_of_the_negative_binomial(needed: int, level: float) -> None:
    # The plain version: scipy's distribution, counted up.
    rate = stats.nbinom(needed + 0.5, 730 / (730 + 60))
    plain = next(keep for keep in range(200) if keep and rate.cdf(keep - 1) >= level)
    found = spares_to_keep(needed=needed, days=730, lead_days=60, service_level=level)
    assert found.keep == plain
    assert found.served == pytest.approx(rate.cdf(plain - 1), rel=1e-9)


def test_a_mill_finds_a_spare_as_often_as_it_asked_for() -> None:
    # Base stock, one for one, simulated: a need finds none if as many were needed in the lead time before.
    rng = np.random.default_rng(9)
    lead, found = 60.0, spares_to_keep(needed=12, days=730, lead_days=60.0, service_level=0.9)
    assert found.keep is not None
    served = []
    for rate in rng.gamma(12.5, 1 / 730, 400):
        times = np.cumsum(rng.exponential(1 / rate, 200))
        before = np.arange(200) - np.searchsorted(times, times - lead)
        served.append(np.mean(before[100:] < found.keep))
    assert np.mean(served) == pytest.approx(found.served, abs=0.02)
    assert np.mean(served) >= 0.9 - 0.02


def test_a_long_record_is_poisson_and_a_short_one_keeps_more() -> None:
    short = spares_to_keep(needed=1, days=100, lead_days=60).keep
    long = spares_to_keep(needed=1000, days=100_000, lead_days=60).keep
    assert short is not None
    assert long is not None
    assert short > long
    assert stats.poisson(0.6).cdf(long - 1) >= 0.95 > stats.poisson(0.6).cdf(long - 2)


def test_no_lead_time_and_no_record_are_said_and_a_part_that_comes_at_once_needs_no_shelf() -> None:
    assert spares_to_keep(needed=1, days=100, lead_days=None).keep is None
    assert spares_to_keep(needed=0, days=0, lead_days=0).keep is None
    assert spares_to_keep(needed=0, days=9, lead_days=10).keep is None
    assert "check the lead time" in spares_to_keep(needed=10_000, days=10, lead_days=10).reason
    assert spares_to_keep(needed=9, days=100, lead_days=0).keep == 0


def test_impossible_numbers_are_refused() -> None:
    with pytest.raises(ValueError, match="not be negative"):
        spares_to_keep(needed=-1, days=100, lead_days=10)
    with pytest.raises(ValueError, match="service level"):
        spares_to_keep(needed=1, days=100, lead_days=10, service_level=1)
