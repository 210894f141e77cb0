"""Order-by days: late in the share of cases that was asked for."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest

from wearlog.calc.policy import LATE_SHARE, Needed, order_by

NEEDED = Needed(date(2026, 9, 1), date(2026, 9, 21), date(2026, 10, 21))


def test_a_tenth_late_is_the_early_day_less_lead_time_and_margin() -> None:
    assert LATE_SHARE == 0.10
    assert order_by(NEEDED, lead_days=14).on == date(2026, 8, 18)
    assert order_by(NEEDED, lead_days=13.5, margin_days=3).on == date(2026, 8, 15)


@pytest.mark.parametrize("share", [0.02, 0.05, 0.10, 0.25, 0.50, 0.75])
def test_orders_are_late_in_the_share_that_was_asked_for(share: float) -> None:
    # Needs drawn from the distribution that the forecast's three days stand for: normal on each side.
    z = np.random.default_rng(6).standard_normal(40_000) / 1.2815515655
    days = np.where(z < 0, 20 * z, 30 * z)
    found = order_by(NEEDED, lead_days=10, margin_days=2, late_share=share)
    assert found.on is not None
    arrives = (found.on + timedelta(days=12) - date(2026, 9, 21)).days
    late = float(np.mean(days < arrives))
    # A whole day stands for up to 1.9 % of the needs; the day chosen is never the later one.
    assert share - 0.021 - 0.01 < late < share + 0.006


def test_a_smaller_share_orders_earlier() -> None:
    days = [order_by(NEEDED, lead_days=10, late_share=share).on for share in (0.01, 0.05, 0.1, 0.3, 0.6)]
    assert days == sorted(day for day in days if day is not None)


def test_what_is_not_known_is_said() -> None:
    unknown = order_by(Needed(None), lead_days=10)
    assert (unknown.on, "nothing is known" in unknown.reason) == (None, True)
    no_lead = order_by(NEEDED, lead_days=None)
    assert (no_lead.on, no_lead.needed, "lead time" in no_lead.reason) == (None, date(2026, 9, 1), True)
    early_only = Needed(date(2026, 9, 1))
    assert order_by(early_only, lead_days=1, late_share=0.2).on == date(2026, 8, 31)
    assert order_by(early_only, lead_days=1, late_share=0.05).on is None
    no_late = Needed(date(2026, 9, 1), date(2026, 9, 21))
    assert order_by(no_late, lead_days=0, late_share=0.8).on == date(2026, 9, 21)


def test_impossible_numbers_are_refused() -> None:
    with pytest.raises(ValueError, match="not be negative"):
        order_by(NEEDED, lead_days=-1)
    with pytest.raises(ValueError, match="between 0 and 1"):
        order_by(NEEDED, lead_days=1, late_share=0)
