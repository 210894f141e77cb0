"""Order-by days: late in the share of cases that was asked for."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from wearlog.calc.policy import LATE_SHARE, Needed, days_needed, order_by

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


# -------- several parts of one type

MANY = [Needed(date(2026, 9, 1), date(2026, 12, 1), date(2027, 6, 1))] * 5


def test_one_part_without_a_spare_is_needed_on_its_early_day() -> None:
    assert days_needed([NEEDED], at_hand=0, until=date(2027, 1, 1)) == [date(2026, 9, 1)]
    assert days_needed([NEEDED], at_hand=1, until=date(2027, 1, 1)) == []


@pytest.mark.parametrize("share", [0.05, 0.1, 0.3])
def test_like_parts_are_needed_by_the_binomial_distribution(share: float) -> None:
    # The plain version: the chance of one part by each day, and scipy's binomial tail over it.
    found = days_needed(MANY, at_hand=1, until=date(2028, 1, 1), late_share=share)
    assert len(found) == 4
    middle = date(2026, 12, 1)
    for count, day in enumerate(found, start=2):

        def tail(on: date, count: int = count) -> float:
            away = (on - middle).days
            sd = (91 if away < 0 else 182) / 1.2815515655
            return float(stats.binom.sf(count - 1, 5, stats.norm.cdf(away / sd)))

        assert tail(day) >= share - 1e-9
        assert tail(day - timedelta(days=1)) < share


def test_the_next_order_is_late_in_the_share_that_was_asked_for() -> None:
    needs = [*MANY, NEEDED, Needed(date(2026, 8, 1), date(2026, 11, 1), date(2027, 2, 1))]
    rng = np.random.default_rng(3)
    drawn = []
    for need in needs:
        assert need.early is not None
        assert need.mid is not None
        assert need.late is not None
        z = rng.standard_normal(20_000) / 1.2815515655
        before, after = (need.mid - need.early).days, (need.late - need.mid).days
        drawn.append(need.mid.toordinal() + np.where(z < 0, before * z, after * z))
    third = np.sort(np.array(drawn), axis=0)[2]
    day = days_needed(needs, at_hand=2, until=date(2028, 1, 1))[0]
    assert float(np.mean(third <= day.toordinal())) == pytest.approx(0.10, abs=0.02)


@given(
    early=st.lists(st.integers(0, 400), min_size=1, max_size=8),
    at_hand=st.integers(0, 3),
    share=st.floats(0.02, 0.5),
)
def test_days_rise_and_a_spare_or_a_bolder_share_never_orders_earlier(
    early: list[int], at_hand: int, share: float
) -> None:
    begin = date(2026, 1, 1)
    needs = [
        Needed(
            begin + timedelta(days=one), begin + timedelta(days=one + 60), begin + timedelta(days=one + 90)
        )
        for one in early
    ]
    until = begin + timedelta(days=1200)
    days = days_needed(needs, at_hand=at_hand, until=until, late_share=share)
    assert days == sorted(days)
    assert days == days_needed(needs, at_hand=0, until=until, late_share=share)[at_hand:]
    bolder = days_needed(needs, at_hand=at_hand, until=until, late_share=min(0.9, share * 1.5))
    assert all(later >= sooner for later, sooner in zip(bolder, days, strict=False))


def test_impossible_numbers_of_spares_and_shares_are_refused() -> None:
    with pytest.raises(ValueError, match="no part at hand"):
        days_needed(MANY, at_hand=-1, until=date(2027, 1, 1))
    with pytest.raises(ValueError, match="between 0 and 1"):
        days_needed(MANY, at_hand=0, until=date(2027, 1, 1), late_share=1.0)
    assert days_needed([Needed(None)], at_hand=0, until=date(2027, 1, 1)) == []


def test_what_is_still_at_work_is_needed_today_at_the_earliest() -> None:
    until = date(2028, 1, 1)
    assert NEEDED.early is not None
    for days in (1, 20, 200):
        today = NEEDED.early - timedelta(days=days)
        assert days_needed([NEEDED], at_hand=0, until=until, since=today) == [NEEDED.early]
        together = days_needed([NEEDED] * 3, at_hand=0, until=until, since=today)
        assert today < together[0] <= NEEDED.early < together[1]
    overdue = NEEDED.early + timedelta(days=3)
    assert days_needed([NEEDED], at_hand=0, until=until, since=overdue) == [overdue]


def test_long_before_the_first_need_it_says_nothing_that_the_parts_are_at_work() -> None:
    until = date(2028, 1, 1)
    alone = days_needed(MANY, at_hand=0, until=until)
    assert days_needed(MANY, at_hand=0, until=until, since=date(2025, 1, 1)) == alone


def test_of_parts_at_work_the_first_is_needed_as_a_simulation_says() -> None:
    """Needs drawn by the chance that rises from nothing today by way of 10 % on the early day."""
    today = date(2026, 12, 1)
    early, mid, late = (today + timedelta(days=days) for days in (40, 160, 300))
    (day, *_) = days_needed([Needed(early, mid, late)] * 5, at_hand=0, until=date(2029, 1, 1), since=today)
    u = np.random.default_rng(7).random((200_000, 5))
    z = stats.norm.ppf(0.9)
    at_first = stats.norm.cdf(-160 * z / 120)  # the normal's chance of a need by today
    away = stats.norm.ppf(np.where(u < 0.1, at_first + u / 0.1 * (0.1 - at_first), u))
    needed = 160 + np.where(away < 0, away * 120 / z, away * 140 / z)
    assert (needed.min(axis=1) <= (day - today).days).mean() == pytest.approx(0.1, abs=0.005)
