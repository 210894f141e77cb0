"""The plain methods and the oracle find what is known by pencil, by simulation or by other programs."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest
from scipy import stats

from tests.calc.rough.build import mill
from tests.calc.rough.cases import ALONE, FORECAST, KNOWN, ORACLE, PLAIN, cases_of, plain_days
from tests.calc.rough.kinds import KINDS, TYPES
from tests.calc.rough.mill import FIRST_DAY, Edge, Mill
from tests.calc.rough.plain.gamma import Steps, days_by_steps, learn_steps
from tests.calc.rough.plain.known import Known
from tests.calc.rough.plain.line import Line, days_by_line, learn_line
from tests.calc.rough.plain.lives import Lives, days_by_lives, learn_lives
from tests.calc.rough.plain.lumped import days_by_lumped_rate
from tests.calc.rough.plain.path import DAYS, Path
from tests.calc.rough.plain.seen import Seen, lives_seen
from tests.calc.rough.plain.wiener import kept_of_plan, learn_wandering

DIE = TYPES[0]
EVEN = Path(0, np.full((DAYS, 1), 100.0))
LINE = Line(budget=0.4, rates=np.array([1e-5]), sd=0.02, spread=0.2)


def seen(kg: list[float], wear: list[float], now: float, *, worn: bool = False) -> Seen:
    edge = Edge(DIE, "die 1", "A", 1.0, np.zeros((1, 1)), 0, [(0, 0)])
    return Seen(edge, np.array(kg).reshape(-1, 1), np.array(wear), np.array([now]), ended=worn, worn=worn)


def wandering(count: int, noise: float, seed: int, gauge: float = 0.01) -> Iterator[Seen]:
    """Lives read ten times, of rate 1e-5, whose wear also wanders by a Wiener process."""
    chance = np.random.default_rng(seed)
    kg = np.arange(1, 11) * 4_000.0
    for _ in range(count):
        strays = np.cumsum(chance.normal(0.0, np.sqrt(noise * 0.4 * 0.04), 10))
        wear = 1e-5 * kg * np.exp(chance.normal(0.0, 0.2)) + strays + chance.normal(0.0, gauge, 10)
        yield seen(list(kg), list(wear), 40_000.0)


def test_the_lumped_rate_by_pencil() -> None:
    """0.2 mm in 20 t of a budget of 0.4 mm: 20 t less the 1 t since are left, at 100 kg a day."""
    assert days_by_lumped_rate(0.4, seen([10_000, 20_000], [0.3, 0.2], 21_000), EVEN) == (133, 190, 247)
    assert days_by_lumped_rate(0.4, seen([], [], 21_000), EVEN) is None


def test_a_line_learns_the_rate_of_each_crop() -> None:
    chance = np.random.default_rng(1)
    rates = np.array([1e-5, 3e-5])
    lives = []
    for _ in range(20):
        kg = np.cumsum(chance.uniform(0, 3_000, (8, 2)), axis=0)
        wear = kg @ rates + chance.normal(0.0, 0.005, 8)
        wear[3] += 0.5 * (chance.random() < 0.3)
        edge = Edge(DIE, "die", "A", 1.0, np.zeros((1, 2)), 0, [(0, 0)])
        lives.append(Seen(edge, kg, wear, kg[-1], ended=False, worn=False))
    found = learn_line(DIE, 2e-5, lives)
    np.testing.assert_allclose(found.rates, rates, rtol=0.05)
    assert found.sd == pytest.approx(0.01, abs=0.002)  # the smallest that it believes
    assert found.spread < 0.12


def test_a_well_read_edge_is_carried_on_along_its_own_line() -> None:
    kg = [float(at) for at in range(1_000, 21_000, 1_000)]
    early, mid, late = days_by_line(LINE, seen(kg, [1.5e-5 * at for at in kg], 20_000.0), EVEN) or (0, 0, 0)
    assert mid == pytest.approx((0.4 / 1.5e-5 - 20_000) / 100, rel=0.06)
    assert early < mid < late


def test_weibull_lives_agree_with_scipy_where_none_is_censored() -> None:
    ages = stats.weibull_min(4.0, scale=40_000).ppf((np.arange(40) + 0.5) / 40)
    found = learn_lives(float(ages[20]), [seen([], [], age, worn=True) for age in ages])
    shape, _, scale = stats.weibull_min.fit([*ages, ages[20]], floc=0)
    assert found.shape == pytest.approx(shape, rel=1e-3)
    assert found.scale == pytest.approx(scale, rel=1e-3)


def test_what_is_left_of_a_life_is_conditional_on_its_age() -> None:
    _, mid, _ = days_by_lives(Lives(3.0, 40_000.0), seen([], [], 30_000.0), EVEN) or (0, 0, 0)
    alive = stats.weibull_min(3.0, scale=40_000).sf
    at = 30_000 + 100 * mid
    assert alive(at) / alive(30_000) == pytest.approx(0.5, abs=0.01)


def test_a_gamma_process_is_found_and_passes_its_limit_as_simulated() -> None:
    """Steps of shape 2 and scale 0.02 mm for each 0.04 mm of progress."""
    chance = np.random.default_rng(2)
    lives = []
    for _ in range(60):
        steps = chance.gamma(2.0, 0.02, 10)
        lives.append(seen(list(np.arange(1, 11) * 4_000.0), list(np.cumsum(steps)), 40_000.0))
    found = learn_steps(LINE, lives)
    assert found is not None
    assert found.alpha == pytest.approx(2.0 / 0.04, rel=0.15)
    assert found.scale == pytest.approx(0.02, rel=0.15)
    days = days_by_steps(Steps(50.0, 0.02), LINE, seen([4_000.0], [0.1], 4_000.0), EVEN)
    worn = 0.1 + np.cumsum(chance.gamma(50.0 * 1e-5 * 100, 0.02, (4_000, 600)), axis=1)
    passed = (worn >= 0.4).argmax(axis=1) + 1
    np.testing.assert_allclose(days or (0, 0, 0), np.quantile(passed, [0.1, 0.5, 0.9]), atol=6)


def test_wandering_is_found_where_it_is_and_nowhere_else() -> None:
    assert learn_wandering(LINE, list(wandering(25, 0.0, 3))).noise <= 0.003
    assert learn_wandering(LINE, list(wandering(25, 0.06, 3))).noise >= 0.03


def test_the_path_is_the_plan_and_then_the_year_before() -> None:
    of = mill(KINDS["rests"], 1)
    path = Path.of_press(of, 0, 100)
    line = next(one for one in of.plan[0] if one.crop == 1)
    ahead = line.start - FIRST_DAY - 101
    assert path.kg[ahead, 1] == pytest.approx(line.seed_kg / (line.end - line.start + 1))
    planned = max(one.end for one in of.known_plan(0, 100)) - FIRST_DAY - 100
    np.testing.assert_array_equal(path.kg[planned + 10], of.seed[0][101 + planned + 10 - 364])


def test_what_a_press_keeps_of_its_plan_is_seen() -> None:
    of = mill(KINDS["use"], 1)
    assert kept_of_plan(of, 0, of.days - 1) == pytest.approx(1.8, abs=0.4)
    assert kept_of_plan(mill(KINDS["steady"], 1), 0, 900) == pytest.approx(1.0, abs=0.25)


def test_the_oracle_knows_the_day_but_for_the_plan() -> None:
    of = mill(KINDS["both"], 1)
    off = []
    for day in (500, 800, 1_100):
        scored = [edge for edge in of.in_use(day) if edge.crossed and 3 <= edge.crossed - day <= 200]
        for key, said in plain_days(of, day, scored).items():
            came = next(edge.crossed for edge in scored if edge.key == key)
            assert came is not None
            true = said[ORACLE]
            assert true is not None
            off.append(abs(true[1] - came) / (came - day))
    assert len(off) > 15
    assert np.median(off) < 0.15


def test_lives_seen_are_cut_by_hard_facings() -> None:
    of: Mill = mill(KINDS["hardface"], 1)
    lives = lives_seen(of, of.days - 1)["screw"]
    edge = next(edge for edge in of.edges if len(edge.works) == 2)
    mine = [one for one in lives if one.edge is edge]
    assert [one.ended for one in mine][:2] == [True, True]
    assert sum(one.now_kg.sum() for one in mine) == pytest.approx(edge.kg.sum())
    assert all(one.wear[0] < 0.5 for one in mine)


def test_all_methods_speak_of_the_same_cases() -> None:
    cases = cases_of(mill(KINDS["young"], 2), 3)
    assert cases
    for case in cases:
        assert set(case.said) == {FORECAST, ALONE, ORACLE, KNOWN, *PLAIN}
        assert 3 <= case.came - case.day <= 400


@pytest.mark.parametrize("kind", ["harvest", "wander", "steps", "use", "rests"])
def test_ranges_of_the_known_process_hold_about_eight_times_in_ten(kind: str) -> None:
    held, count = 0, 0
    for seed in range(4):
        of = mill(KINDS[kind], seed)
        for day in (450, 700, 1_000):
            known = Known(of, day)
            for edge in of.in_use(day):
                came = edge.lives[edge.life(day)].came
                if came is not None and came > day:
                    early, _, late = known.range(edge)
                    held += early <= came <= late
                    count += 1
    assert count > 100
    assert 0.70 <= held / count <= 0.90
