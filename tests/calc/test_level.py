"""Whether the pace of pressing has changed since it was planned. Made-up spells; the sums are checked
against densities of scipy's multivariate normal distribution."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from wearlog.calc.level import AT_ENDS, CHANGE_SPREAD, Levels, Spells

DAYS = 14.0


def spells(kept: list[float], *, said: float = -np.inf, of: list[int] | None = None) -> Spells:
    """One spell of two weeks after the other, each the logarithm of pressed / planned."""
    count = len(kept)
    return Spells(
        end=DAYS * np.arange(1.0, count + 1.0),
        days=np.full(count, DAYS),
        kept=np.array(kept),
        of=np.arange(count) if of is None else np.array(of),
        said=np.full(count, said),
    )


def levels(found: Spells, own: float = 0.1) -> Levels:
    return Levels(found, own_spread=own, day_spread=0.4)


def steady(count: int, seed: int = 1) -> list[float]:
    return np.random.default_rng(seed).normal(0.0, 0.15, count).tolist()


def test_a_press_that_keeps_to_its_plans_goes_on_so() -> None:
    level = levels(spells(steady(20))).of()
    assert level.changed is None
    assert level.middle == pytest.approx(0.0, abs=0.02)
    assert level.spread == pytest.approx(0.1, abs=0.03)


@pytest.mark.parametrize("weeks", [4, 8])
def test_a_doubled_pace_is_followed_within_weeks(weeks: int) -> None:
    level = levels(spells([*steady(16), *(np.log(2.0) + x for x in steady(weeks // 2, 2))])).of()
    assert np.exp(level.middle) > 1.7
    assert level.changed == 16 * DAYS


def test_one_odd_spell_moves_it_by_less_than_half() -> None:
    odd, many = (levels(spells([*steady(16), *([np.log(1.6)] * count)])).of().middle for count in (1, 3))
    assert odd < 0.5 * many


def test_a_press_that_rests_has_no_new_pace() -> None:
    known = levels(spells([*steady(16), *([np.log(0.02)] * 4)], of=[*range(16), *([16] * 4)]))
    assert known.of().changed is None
    assert np.exp(known.of().middle) == pytest.approx(1.0, abs=0.05)
    assert np.exp(known.of(under_way=16).middle) < 0.9  # what is left of this plan is doubted


def test_a_plan_made_after_the_change_knows_of_it() -> None:
    known = levels(spells([*steady(16), *([np.log(2.0)] * 4)]))
    old, new = known.of(said=0.0), known.of(said=16 * DAYS + 7)
    assert np.exp(old.middle) > 1.7
    assert np.exp(new.middle) == pytest.approx(1.0, abs=0.05)


def test_what_was_pressed_of_a_plan_made_after_the_change_tells_of_no_change() -> None:
    after = [-np.inf] * 16 + [16 * DAYS + 1] * 4
    found = spells([*steady(16), *steady(4, 3)])
    assert levels(Spells(**{**vars(found), "said": np.array(after)})).of(said=16 * DAYS + 1).changed is None


def test_nothing_pressed_tells_nothing() -> None:
    level = levels(spells([])).of()
    assert (level.middle, level.changed) == (0.0, None)
    assert level.spread == pytest.approx(0.1)


def test_each_time_of_a_change_is_weighed_by_the_density_of_all_spells() -> None:
    found = spells([0.1, -0.05, 0.6, 0.5], of=[0, 0, 1, 1])
    known = levels(found)
    own = 0.1**2 * (found.of[:, None] == found.of) + np.diag(
        0.4**2 / found.days + (AT_ENDS / found.days) ** 2
    )
    densities = []
    for changed in (None, 1, 2, 3):
        after = np.zeros(4) if changed is None else (np.arange(4) >= changed).astype(float)
        whole = own + CHANGE_SPREAD**2 * np.outer(after, after)
        prior = 0.85 if changed is None else 0.05
        densities.append(prior * stats.multivariate_normal(np.zeros(4), whole).pdf(found.kept))
    np.testing.assert_allclose(known.chance, np.array(densities) / sum(densities), rtol=1e-9)
