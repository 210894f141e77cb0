"""Wear that wanders, slips of people, and lives after a rebuild. Numbers in records are made up.

The linear algebra is checked against a plain version that writes each sum out, and the progress to the limit
against scipy's Birnbaum-Saunders distribution (`scipy.stats.fatiguelife`).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import special, stats

from tests.calc.plain_edges import straight_fleet, worn_edge
from wearlog.calc.wear import EdgeFit, EdgeRecord, Gauge, Quantiles, TypeRecord, Work, fit_type, learn
from wearlog.calc.wear.cases import progress_to_limit
from wearlog.calc.wear.model import Posterior
from wearlog.calc.wear.noise import Noise
from wearlog.calc.wear.wander import Readings, Wander, least_squares, stray

ONE = np.ones(1)


def die(*edges: EdgeRecord) -> TypeRecord:
    """A bore that is new at 5.0 mm and worn at 5.4 mm."""
    return TypeRecord(key="die", new=5.0, limit=5.4, crops=1, expected_life_kg=40_000.0, edges=edges)


def posterior(*edges: EdgeRecord) -> Posterior:
    (learned,) = learn([die(*edges)])
    assert learned.known is not None
    return learned.known.posterior


def left(edge: EdgeFit) -> Quantiles:
    found = edge.seed_left(ONE)
    assert found is not None
    return found


def width(quantiles: Quantiles) -> float:
    return quantiles.high - quantiles.low


def wandering_fleet(seed: int, *, noise: float, parts: int = 40) -> tuple[EdgeRecord, ...]:
    """Wear whose pace changes all the time: of the variance `noise` in budgets squared over a whole life."""
    random = np.random.default_rng(seed)
    edges = []
    for part in range(parts):
        progress = np.linspace(0.1, 1.0, 9)
        steps = np.diff(progress, prepend=0.0)
        own = random.normal(1.0, 0.15)
        wear = np.cumsum(own * steps + random.normal(0.0, np.sqrt(noise * steps)))
        read = 0.4 * wear + random.normal(0.0, 0.02, 9)
        edges.append(worn_edge(part, kg=4e4 * progress, wear=read.tolist(), in_use=False))
    return tuple(edges)


class TestNoise:
    @pytest.mark.parametrize("seed", range(3))
    def test_it_is_found_where_wear_wanders(self, seed: int) -> None:
        found = posterior(*wandering_fleet(seed, noise=0.03)).wander
        assert 0.015 < found.noise.size < 0.06
        assert found.gauge_sd * 0.4 == pytest.approx(0.02, rel=0.3)

    @pytest.mark.parametrize("seed", range(3))
    def test_it_is_next_to_none_where_wear_is_straight(self, seed: int) -> None:
        assert posterior(*straight_fleet(seed, parts=30)).wander.noise.size < 0.002

    def test_where_wear_wanders_the_last_reading_counts_most(self) -> None:
        def mine(fleet: tuple[EdgeRecord, ...]) -> EdgeFit:
            # Slow at first (the fleet would have 0.2 mm at 20 t), fast of late: 0.24 mm.
            edge = worn_edge("mine", kg=[5e3, 10e3, 15e3, 20e3], wear=[0.02, 0.05, 0.10, 0.24])
            return fit_type(die(edge, *fleet)).edges["mine"]

        steady, wandering = mine(straight_fleet(4, parts=40)), mine(wandering_fleet(4, noise=0.03))
        assert steady.now is not None
        assert wandering.now is not None
        assert wandering.now.mid > 1.05 * steady.now.mid
        assert left(wandering).mid < 0.9 * left(steady).mid

    def test_more_readings_narrow_what_is_left_no_further_than_what_is_still_to_wander(self) -> None:
        def spread(count: int) -> float:
            kg = np.linspace(20e3 / count, 20e3, count)
            edge = worn_edge("mine", kg=kg, wear=(1e-5 * kg).tolist())
            return width(left(fit_type(die(edge, *wandering_fleet(5, noise=0.03))).edges["mine"]))

        # Half a life to go: 2.563 standard deviations of sqrt(0.03 * 0.5) of 40 t are 12.6 t.
        assert spread(2) > spread(16) > 0.8 * 12_600

    def test_it_widens_as_the_wear_to_come_is_more(self) -> None:
        fleet = wandering_fleet(6, noise=0.03)

        def spread(kg: float) -> float:
            edge = worn_edge("mine", kg=[kg], wear=[1e-5 * kg])
            return width(left(fit_type(die(edge, *fleet)).edges["mine"]))

        assert spread(10e3) > spread(20e3) > spread(35e3)


class TestSlips:
    def fleet(self, *slips: tuple[int, float]) -> tuple[EdgeRecord, ...]:
        """Twelve edges, of which those have a last reading that is typed as so many mm."""
        edges = list(straight_fleet(8))
        for index, value in slips:
            edge = edges[index]
            edges[index] = replace(edge, gauges=(*edge.gauges[:-1], replace(edge.gauges[-1], value=value)))
        return tuple(edges)

    def test_a_decimal_point_leaves_the_gauge_and_the_range_of_its_type_alone(self) -> None:
        sound, slipped = fit_type(die(*self.fleet())), fit_type(die(*self.fleet((1, 53.0))))
        assert sound.gauge_sd is not None
        assert slipped.gauge_sd == pytest.approx(sound.gauge_sd, rel=0.25)
        assert width(left(slipped.new_edge)) < 1.25 * width(left(sound.new_edge))

    @pytest.mark.parametrize("value", [53.0, 530.0, 5_300.0])
    def test_the_further_off_it_is_the_less_it_pulls(self, value: float) -> None:
        sound, slipped = fit_type(die(*self.fleet())), fit_type(die(*self.fleet((1, value))))
        for key in range(12):
            if key != 1 and sound.edges[key].basis == "measured":
                assert left(slipped.edges[key]).mid == pytest.approx(
                    left(sound.edges[key]).mid, rel=0.05, abs=300
                )

    def test_an_edge_goes_on_by_its_sound_readings(self) -> None:
        kg = [4e3, 8e3, 12e3, 16e3, 20e3]
        straight = worn_edge("mine", kg=kg, wear=[0.04, 0.08, 0.12, 0.16, 0.20])
        slip = worn_edge("mine", kg=kg, wear=[0.04, 0.08, 0.12, 1.6, 0.20])
        sound, slipped = (
            left(fit_type(die(one, *straight_fleet(9))).edges["mine"]) for one in (straight, slip)
        )
        assert slipped.mid == pytest.approx(sound.mid, rel=0.06)


class TestRebuilds:
    def screws(self, pace: float, parts: int = 6, lives: int = 3) -> tuple[EdgeRecord, ...]:
        """Each rebuilt twice, and each life faster by `pace` of the first. The last one is new in its third
        life."""
        random = np.random.default_rng(3)
        edges = []
        for part in range(parts):
            gauges, kg, works, work_kg, taken = [], [], [], [], 0.0
            for life in range(lives):
                rate = 1e-5 * (1.0 + pace * life)
                for share in (0.3, 0.6, 0.9):
                    if part == parts - 1 and life == lives - 1:
                        break
                    value = 5.0 + 0.4 * share + random.normal(0.0, 0.01)
                    gauges.append(Gauge(at=life + share, value=float(value)))
                    kg.append(taken + 0.4 * share / rate)
                if life < lives - 1:
                    taken += 0.4 / rate
                    works.append(Work(id=100 * part + life, at=life + 0.95, resets=True))
                    work_kg.append(taken)
            now = taken if part == parts - 1 else kg[-1]
            edges.append(
                EdgeRecord(
                    key=part,
                    part=part,
                    gauges=tuple(gauges),
                    gauge_kg=np.array(kg)[:, None],
                    works=tuple(works),
                    work_kg=np.array(work_kg)[:, None],
                    now_kg=np.array([now]),
                )
            )
        return tuple(edges)

    def test_that_each_life_is_shorter_is_learned(self) -> None:
        assert posterior(*self.screws(0.25)).trend == pytest.approx(0.25, abs=0.08)
        assert posterior(*self.screws(0.0)).trend == pytest.approx(0.0, abs=0.06)

    def test_the_life_that_has_just_begun_is_expected_to_be_as_short(self) -> None:
        # 40 t to the limit when new, 40 / 1.5 = 26.7 t after two rebuilds.
        found = left(fit_type(die(*self.screws(0.25))).edges[5])
        assert found.mid == pytest.approx(26_700, rel=0.08)
        assert found.low < 26_700 < found.high

    def test_the_first_rebuild_widens_where_none_was_seen_before(self) -> None:
        once = worn_edge("mine", kg=[10e3, 20e3, 35e3], wear=[0.1, 0.2, 0.35])
        rebuilt = replace(
            once,
            works=(Work(id=1, at=9.0, resets=True),),
            work_kg=np.array([[36e3]]),
            now_kg=np.array([36e3]),
        )
        fleet = straight_fleet(11)
        new, again = (fit_type(die(one, *fleet)) for one in (once, rebuilt))
        assert width(left(again.edges["mine"])) > width(left(new.new_edge))


class TestAgainstPlainAlgebra:
    READINGS = Readings(
        part=np.array([0, 0, 0, 0, 1, 1]),
        life=np.array([0, 0, 1, 1, 0, 0]),
        u=np.array([0.2, 0.6, 0.3, 0.7, 0.1, 0.9]),
        wear=np.array([0.25, 0.66, 0.24, 0.71, 0.12, 0.80]),
        error=np.array([1.0, 1.0, 4.0, 1.0, 1.0, 0.004]),
        plain=np.array([1.0, 1.0, 1.0, 1.0, 1.0, 0.0]),
        shifts=np.array([[0.0], [0.0], [0.0], [1.0], [0.0], [1.0]]),
        rebuilt=np.array([0.0, 0.0, 1.0, 1.0, 0.0, 0.0]),
        parts=2,
    )
    WANDER = Wander(Noise(0.02), 0.05, 0.2, 0.1, READINGS.error, np.zeros(6))

    def covariance(self) -> np.ndarray:
        """Each pair of readings by itself: the multiplier's spread, the Wiener process, shift and error."""
        r, out = self.READINGS, np.zeros((6, 6))
        for i in range(6):
            for j in range(6):
                if r.part[i] != r.part[j]:
                    continue
                out[i, j] = 0.2**2 * r.u[i] * r.u[j]
                if r.life[i] == r.life[j]:
                    out[i, j] += 0.1**2 * r.u[i] * r.u[j] + 0.02 * min(r.u[i], r.u[j])
                out[i, j] += 0.5**2 * r.shifts[i, 0] * r.shifts[j, 0]
                if i == j:
                    out[i, j] += 0.05**2 * r.error[i] if r.plain[i] else r.error[i]
        return out

    def test_information_and_gradient_are_those_of_all_readings_at_once(self) -> None:
        columns = np.random.default_rng(1).normal(size=(6, 4))
        weight = np.linalg.inv(self.covariance())
        told, gradient = least_squares(self.READINGS, self.WANDER, columns)
        np.testing.assert_allclose(told, columns.T @ weight @ columns, rtol=1e-9)
        away = self.READINGS.wear - self.READINGS.u
        np.testing.assert_allclose(gradient, columns.T @ weight @ away, rtol=1e-9)

    def test_of_a_large_fleet_some_whole_parts_are_taken_and_none_of_a_small_one_is_left_out(self) -> None:
        assert self.READINGS.parts_chosen(2) is None
        chosen = self.READINGS.parts_chosen(1)
        assert chosen is not None
        assert chosen.tolist() == [0, 1, 2, 3]

    def test_the_spreads_of_five_hundred_parts_are_learned_from_some(self) -> None:
        found = posterior(*wandering_fleet(7, noise=0.03, parts=500)).wander
        assert 0.02 < found.noise.size < 0.045
        assert found.part == pytest.approx(0.2, abs=0.06)  # made with 0.15; the steps tried are coarse
        assert found.gauge_sd * 0.4 == pytest.approx(0.02, rel=0.2)

    def test_no_readings_tell_nothing(self) -> None:
        r = self.READINGS
        empty = Readings(
            r.part[:0],
            r.life[:0],
            r.u[:0],
            r.wear[:0],
            r.error[:0],
            r.plain[:0],
            r.shifts[:0],
            r.rebuilt[:0],
            0,
        )
        found = stray(empty, gauge_sd=0.05, gauge_guess=0.07, part=0.2, life=0.02)
        assert (found.gauge_sd, found.part) == (0.05, 0.2)
        told, gradient = least_squares(empty, found, np.zeros((0, 3)))
        assert not told.any()
        assert not gradient.any()


@pytest.mark.parametrize(
    ("theta", "left_over", "noise"), [(1.0, 1.0, 0.03), (0.7, 0.4, 0.1), (1.5, 0.1, 0.002)]
)
def test_progress_to_the_limit_has_the_distribution_of_birnbaum_and_saunders(
    theta: float, left_over: float, noise: float
) -> None:
    share = np.array([0.01, 0.1, 0.5, 0.9, 0.99])
    found = progress_to_limit(
        np.array(theta), np.array(left_over), np.array(0.0), Noise(noise), -special.ndtri(share)
    )
    exact = stats.fatiguelife(c=np.sqrt(noise / (theta * left_over)), scale=left_over / theta).ppf(share)
    np.testing.assert_allclose(found, exact, rtol=1e-9)


def test_progress_solves_its_equation_with_doubt_about_the_wear_now_too() -> None:
    random = np.random.default_rng(2)
    theta, left_over = random.uniform(0.3, 3.0, 200), random.uniform(0.2, 1.0, 200)
    doubt, z = random.uniform(0.0, 0.01, 200), np.clip(random.normal(size=200), -1.9, 1.9)
    u = progress_to_limit(theta, left_over, doubt, Noise(0.02), z)
    np.testing.assert_allclose(theta * u + np.sqrt(doubt + 0.02 * u) * z, left_over, rtol=1e-9)
    assert (u > 0).all()


def test_a_limit_that_was_passed_lies_behind() -> None:
    u = progress_to_limit(np.array([2.0]), np.array([-0.3]), np.array([0.0]), Noise(0.0), np.array([0.0]))
    assert u == pytest.approx(-0.15)


class TestGaugeThatShowsNoWear:
    KG = np.linspace(2e3, 24e3, 8)

    def mine(self, wear: list[float]) -> EdgeFit:
        edge = worn_edge("mine", kg=self.KG, wear=wear)
        return fit_type(die(edge, *straight_fleet(12, parts=20))).edges["mine"]

    def test_the_type_s_expectation_is_kept(self) -> None:
        # Twenty tonnes and more without any wear, where the fleet has 0.24 mm of 0.4: about 16 t are left.
        stuck = left(self.mine([0.01, -0.01, 0.0, 0.01, 0.0, -0.01, 0.01, 0.0]))
        usual = left(
            fit_type(die(worn_edge("mine", kg=[24e3], wear=[0.24]), *straight_fleet(12, parts=20))).edges[
                "mine"
            ]
        )
        assert stuck.mid == pytest.approx(usual.mid, rel=0.4)
        assert width(stuck) > width(usual)

    def test_an_edge_of_harder_steel_that_wears_slowly_but_shows_it_is_believed(self) -> None:
        slow = left(self.mine((0.4e-5 * self.KG).tolist()))
        assert slow.low > 40e3
