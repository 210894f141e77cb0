"""The density of readings, life by life, against the whole covariance of each part written out."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from wearlog.calc.wear.density import Lives, as_few, side_by_side
from wearlog.calc.wear.noise import Noise
from wearlog.calc.wear.records import Floats

SHIFT_SD = 0.5  # of a shift by polishing, in budgets
SPREAD, OF_LIFE = 0.2, 0.07


class SomeReadings:
    """Parts with several lives of different lengths, with shifts; made by chance."""

    def __init__(self, seed: int, *, shifts: int = 2, columns: int = 3) -> None:
        chance = np.random.default_rng(seed)
        part, life = [], []
        for number in range(4):
            for each in range(int(chance.integers(1, 4))):
                rows = int(chance.integers(1, 7))
                part += [number] * rows
                life += [each] * rows
        order = chance.permutation(len(part))
        self.part, self.life = np.array(part)[order], np.array(life)[order]
        self.u = chance.uniform(0.0, 1.1, len(part))
        if len(part) > 3:
            self.u[1] = self.u[0]  # two readings at the same progress
        self.shifts = (chance.uniform(size=(len(part), shifts)) < 0.3).astype(float)
        self.errors = chance.uniform(0.0005, 0.02, len(part))
        self.known = chance.normal(size=(len(part), columns))
        self.lives = Lives.of(self.part, self.life, self.u, self.shifts)

    def covariance(self, noise: Noise, part: float = SPREAD, life: float = OF_LIFE) -> Floats:
        """Of all readings, those of different parts independent: entry by entry."""
        size = len(self.u)
        out = np.diag(self.errors.copy())
        whole = noise.between(self.u, self.u)
        for i in range(size):
            for j in range(size):
                if self.part[i] != self.part[j]:
                    continue
                out[i, j] += part**2 * self.u[i] * self.u[j]
                out[i, j] += SHIFT_SD**2 * float(self.shifts[i] @ self.shifts[j])
                if self.life[i] == self.life[j]:
                    out[i, j] += life**2 * self.u[i] * self.u[j] + whole[i, j]
        return np.asarray(out)


NOISES = (Noise(0.0), Noise(0.02), Noise(0.02, 0.1), Noise(0.06, 0.3))


@pytest.mark.parametrize("noise", NOISES)
@pytest.mark.parametrize(("seed", "shifts"), [(1, 2), (2, 0), (3, 5)])
def test_the_density_is_that_of_the_whole_covariance(noise: Noise, seed: int, shifts: int) -> None:
    some = SomeReadings(seed, shifts=shifts)
    told = some.lives.told(
        np.array(noise.size), noise.length, some.lives.spread(some.errors), some.lives.spread(some.known)
    )
    squares, log_det = told.by_part(np.array(OF_LIFE)).whole(np.array(SPREAD))
    covariance = some.covariance(noise)
    for column in range(3):
        y = some.known[:, column]
        density = -0.5 * (squares[column] + log_det + len(y) * np.log(2 * np.pi))
        whole = stats.multivariate_normal.logpdf(y, cov=covariance)
        assert float(density) == pytest.approx(float(whole), rel=1e-9)


def test_many_choices_at_once_are_those_choices_one_by_one() -> None:
    some = SomeReadings(4)
    sizes, errors = np.array([0.0, 0.01, 0.05]), some.lives.spread(some.errors)
    parts, lives = np.array([0.1, 0.2]), np.array([0.02, 0.05, 0.3])
    known = some.lives.spread(some.known)
    many = some.lives.told(sizes, 0.1, errors, known)
    squares, log_det = many.by_part(np.array(OF_LIFE)).whole(np.array(SPREAD))
    for index, size in enumerate(sizes):
        one = some.lives.told(np.array(size), 0.1, errors, known)
        whole = one.by_part(np.array(OF_LIFE)).whole(np.array(SPREAD))
        np.testing.assert_allclose(squares[index], whole[0], rtol=1e-9)
        assert log_det[index] == pytest.approx(float(whole[1]))
        by_life = many.choice(index).by_part(lives).whole(np.array(SPREAD))
        by_part = many.choice(index).by_part(np.array(OF_LIFE)).whole(parts)
        for place, life in enumerate(lives):
            np.testing.assert_allclose(by_life[0][place], one.by_part(life).whole(np.array(SPREAD))[0])
        for place, part in enumerate(parts):
            np.testing.assert_allclose(by_part[0][place], one.by_part(np.array(OF_LIFE)).whole(part)[0])


def test_more_error_of_all_gauges_at_once_is_each_of_these_errors() -> None:
    some = SomeReadings(5)
    factors, known = np.array([0.5, 1.0, 2.0]), some.lives.spread(some.known)
    errors = factors[:, None, None] * some.lives.spread(some.errors)
    told = some.lives.told(np.array(0.01), 0.0, errors, known)
    for index, factor in enumerate(factors):
        one = some.lives.told(np.array(0.01), 0.0, factor * some.lives.spread(some.errors), known)
        np.testing.assert_allclose(told.squares[index], one.squares, rtol=1e-9)


@pytest.mark.parametrize("noise", NOISES)
def test_what_all_others_let_expect_of_each_reading(noise: Noise) -> None:
    some = SomeReadings(6)
    errors, known = some.lives.spread(some.errors, 1.0), some.lives.spread(some.known)
    precision, pulled = some.lives.solved(noise, errors, known[:, :, :1], part=SPREAD, life=OF_LIFE).alone()
    covariance, y = some.covariance(noise), some.known[:, 0]
    for cell in np.argwhere(some.lives.there):
        row = int(some.lives.row[tuple(cell)])
        others = np.arange(len(y)) != row
        gain = np.linalg.solve(covariance[np.ix_(others, others)], covariance[others, row])
        variance = covariance[row, row] - gain @ covariance[others, row]
        place = tuple(cell)
        assert 1.0 / precision[place] == pytest.approx(float(variance), rel=1e-7)
        assert pulled[place] / precision[place] == pytest.approx(float(y[row] - gain @ y[others]), rel=1e-6)


@pytest.mark.parametrize("noise", NOISES)
def test_products_by_the_inverse_of_the_whole_covariance(noise: Noise) -> None:
    some = SomeReadings(7)
    errors, known = some.lives.spread(some.errors, 1.0), some.lives.spread(some.known)
    found = some.lives.solved(noise, errors, known, part=SPREAD, life=OF_LIFE).information()
    whole = some.known.T @ np.linalg.solve(some.covariance(noise), some.known)
    np.testing.assert_allclose(found, whole, rtol=1e-8)


@given(seed=st.integers(0, 10_000), columns=st.integers(1, 30))
def test_fewer_columns_have_the_same_products_within_each_part(seed: int, columns: int) -> None:
    some = SomeReadings(seed, columns=columns)
    few = as_few(some.known, some.part)
    assert few.shape[1] <= columns
    for part in np.unique(some.part):
        own = some.part == part
        whole = some.known[own] @ some.known[own].T
        np.testing.assert_allclose(few[own] @ few[own].T, whole, rtol=1e-6, atol=1e-9 * np.trace(whole))


@given(groups=st.lists(st.integers(0, 4), min_size=1, max_size=20))
def test_each_row_stands_once_in_its_group_in_order(groups: list[int]) -> None:
    numbered = np.unique(groups, return_inverse=True)[1]
    order = np.random.default_rng(len(groups)).permutation(len(groups))
    row = side_by_side(numbered, order)
    assert sorted(row[row >= 0].tolist()) == list(range(len(groups)))
    for group, rows in enumerate(row):
        there = rows[rows >= 0]
        assert (numbered[there] == group).all()
        assert (np.diff(order[there]) > 0).all()
