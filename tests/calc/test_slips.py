"""Slips of the hand are recognised, and gauges that show no wear are told from parts that wear."""

from __future__ import annotations

from decimal import Decimal

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from wearlog.calc.slips import INCH_MM, Slip, proposals, seed_without_wear

SIZES = st.decimals("4.8", "5.8", places=2)
NEW = Decimal(5)


def meant(typed: Decimal, true: Decimal, *, new: Decimal | None = NEW, grows: bool = True) -> set[Decimal]:
    """What is proposed where the true size is expected to 0.05 mm."""
    found = proposals(typed, expected=float(true) + 0.04, close=0.05, new=new, grows=grows)
    return {each.value for each in found}


@given(SIZES, st.sampled_from([-3, -2, -1, 1, 2, 3]))
def test_a_moved_decimal_point_is_moved_back(true: Decimal, places: int) -> None:
    assert true in meant(true.scaleb(places), true)


@given(SIZES, st.sampled_from([(0, 2), (2, 3)]))
def test_two_swapped_digits_are_swapped_back(true: Decimal, places: tuple[int, int]) -> None:
    signs = list(str(true))
    left, right = places
    assume(signs[left] != signs[right])
    signs[left], signs[right] = signs[right], signs[left]
    assert true in meant(Decimal("".join(signs)), true)


@given(st.decimals("0.180", "0.230", places=3))
def test_two_digits_swapped_in_inches_are_swapped_back(true: Decimal) -> None:
    signs = list(str(true))
    assume(signs[3] != signs[4])
    signs[3], signs[4] = signs[4], signs[3]
    assert true * INCH_MM in meant(Decimal("".join(signs)) * INCH_MM, true * INCH_MM)


@given(st.decimals("0.01", "0.90", places=2), st.booleans())
def test_the_wear_written_for_the_size_is_added_to_the_new_size_or_taken_off(
    wear: Decimal, grows: bool
) -> None:
    true = NEW + wear if grows else NEW - wear
    assert true in meant(wear, true, grows=grows)


@given(SIZES)
def test_inches_for_millimetres_are_converted(true: Decimal) -> None:
    (nearest, *_) = proposals(true / INCH_MM, expected=float(true), close=0.05, new=None, grows=True)
    assert nearest.slip is Slip.INCHES
    assert float(nearest.value) == pytest.approx(float(true))


@given(SIZES, st.decimals("0.01", "60", places=2))
def test_only_what_was_expected_is_proposed_and_never_what_was_typed(true: Decimal, typed: Decimal) -> None:
    found = proposals(typed, expected=float(true), close=0.2, new=NEW, grows=True)
    values = [each.value for each in found]
    assert typed not in values
    assert all(abs(value - true) <= Decimal("0.2") for value in values)
    assert len({value.normalize() for value in values}) == len(values)


# Worked by hand: expected wear 0, 0.1, 0.2, 0.3 mm has a sum of squares of 0.05 about its mean, so a gauge
# of 0.01 mm tells the share of the wear to 0.01 / 0.2236 = 0.045.
SEED = np.array([0.0, 10_000.0, 20_000.0, 30_000.0])
EXPECTED = np.array([0.0, 0.1, 0.2, 0.3])


def test_gauges_that_stand_still_while_the_type_wears_show_none() -> None:
    still = np.array([5.02, 5.01, 5.02, 5.01])
    assert seed_without_wear(SEED, still, EXPECTED, 0.01) == 30_000


def test_gauges_that_follow_the_wear_show_it_also_where_it_is_slow() -> None:
    assert seed_without_wear(SEED, 5 + EXPECTED, EXPECTED, 0.01) is None
    assert seed_without_wear(SEED, 5 + 0.3 * EXPECTED, EXPECTED, 0.01) is None
    assert seed_without_wear(SEED, 6 - EXPECTED, EXPECTED, 0.01) is None


def test_a_coarse_gauge_a_short_while_and_two_gauges_are_too_little_to_tell() -> None:
    still = np.full(4, 5.0)
    assert seed_without_wear(SEED, still, EXPECTED, 0.1) is None
    assert seed_without_wear(SEED, still, EXPECTED / 10, 0.01) is None
    assert seed_without_wear(SEED[:2], still[:2], EXPECTED[:2], 0.01) is None
    assert seed_without_wear(SEED, still, np.zeros(4), 0.01) is None


def test_what_showed_wear_before_it_stood_still_counts_from_there() -> None:
    seed = np.arange(6) * 10_000.0
    expected = np.arange(6) * 0.1
    shown = np.array([5.0, 5.1, 5.2, 5.2, 5.2, 5.2])
    assert seed_without_wear(seed, shown, expected, 0.01) == 30_000
