"""Slips of the hand in gauge readings, and gauges that show no wear.

A slip is proposed where it would turn what was typed into what was expected: the decimal point moved, two
neighbouring digits swapped, the wear written for the size, or inches for millimetres. Sizes in mm. The kinds
of slip and all limits are the project's own choice.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from enum import Enum
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

INCH_MM = Decimal("25.4")
FURTHEST_POINT = 3
"""A decimal point is looked for at most so many places away."""
DECIMALS = {Decimal(1): 3, INCH_MM: 4}
"""How many decimals people write in each unit, by its length in mm."""
FEWEST_READINGS = 3
RULED_OUT = 0.5
"""Readings of a gauge that stands still rule out that the edge wears at this share of the expected pace,"""
NOISE = 0.1
"""and show no more of it than two standard errors, or this share."""


class Slip(Enum):
    POINT = "the decimal point moved"
    DIGITS = "two neighbouring digits swapped"
    WEAR = "the wear written for the size"
    INCHES = "inches written for millimetres"


@dataclass(frozen=True)
class Proposal:
    """What was probably meant, in mm, and the slip that explains what was typed."""

    value: Decimal
    slip: Slip


def proposals(
    typed: Decimal, *, expected: float, close: float, new: Decimal | None, grows: bool
) -> tuple[Proposal, ...]:
    """What may have been meant by `typed`, within `close` mm of `expected`; the nearest first, each once.

    new: the size when new, which grows with wear, or else shrinks; None where it is not known."""
    found: dict[Decimal, Proposal] = {}
    for proposal in _candidates(typed, new, grows):
        if proposal.value != typed and abs(float(proposal.value) - expected) <= close:
            found.setdefault(proposal.value.normalize(), proposal)
    return tuple(sorted(found.values(), key=lambda each: abs(float(each.value) - expected)))


def _candidates(typed: Decimal, new: Decimal | None, grows: bool) -> Iterator[Proposal]:
    for places in range(1, FURTHEST_POINT + 1):
        yield Proposal(typed.scaleb(-places), Slip.POINT)
        yield Proposal(typed.scaleb(places), Slip.POINT)
    for unit, decimals in DECIMALS.items():
        for figures in _swapped(typed / unit, decimals):
            yield Proposal(figures * unit, Slip.DIGITS)
    if new is not None:
        yield Proposal(new + typed if grows else new - typed, Slip.WEAR)
    yield Proposal(typed * INCH_MM, Slip.INCHES)


def _swapped(number: Decimal, decimals: int) -> Iterator[Decimal]:
    """The number with each two neighbouring digits swapped, a nought at its end among them; nothing where
    nobody writes so many decimals."""
    written = number.quantize(Decimal(1).scaleb(-decimals))
    if abs(written - number) > Decimal("0.000001"):
        return
    text = f"{written:f}"
    digits = [place for place, sign in enumerate(text) if sign.isdigit()]
    for left, right in pairwise(digits):
        if text[left] != text[right]:
            signs = list(text)
            signs[left], signs[right] = signs[right], signs[left]
            yield Decimal("".join(signs))


def seed_without_wear(
    seed_kg: Floats, value_mm: Floats, expected_mm: Floats, gauge_sd: float
) -> float | None:
    """The seed in kg over which the latest readings show no wear although they should; None where they do
    show it, or where it is too early to say.

    seed_kg, value_mm: seed before each reading of one edge and what it showed, in order of time; shape (n,).
    expected_mm: the wear that the type's rates give by then, shape (n,). gauge_sd: the standard deviation of
    a reading's error, in mm. The share b of the expected wear that readings show is the slope of least
    squares of their size on expected_mm; its standard error is gauge_sd / sqrt(sum (expected_mm - mean)^2).
    They show none where b + 2 standard errors is at most a half, and |b| at most 2 standard errors or a
    tenth. Of the stretches of three readings and more up to the latest one the longest counts."""
    for first in range(len(value_mm) - FEWEST_READINGS + 1):
        expected = expected_mm[first:] - expected_mm[first:].mean()
        square = float(expected @ expected)
        if square <= 0:
            break
        share = float(expected @ value_mm[first:]) / square
        error = 2 * gauge_sd / square**0.5
        if share + error <= RULED_OUT and abs(share) <= max(error, NOISE):
            return float(seed_kg[-1] - seed_kg[first])
    return None
