"""What harvests do alike to all edges. Numbers in records are made up; the algebra is checked against a plain
version that takes all readings of all types at once."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.calc.plain_edges import worn_edge
from wearlog.calc.wear import EdgeFit, EdgeRecord, TypeRecord, answers, fit_fleet, learn
from wearlog.calc.wear.harvests import SPREAD_SCALE, SPREADS, Begun, settle
from wearlog.calc.wear.model import Posterior
from wearlog.calc.wear.wander import Readings, Wander

SEASONS = 6
HARSH = np.array([0.0, 0.35, -0.3, 0.25, -0.35, 0.3])  # of each season, as logarithms


def pressed_through(
    harsh: np.ndarray, seed: int, *, parts: int, season_kg: float = 30e3, noise: float = 0.02
) -> tuple[EdgeRecord, ...]:
    """Edges of one crop, one after the other at `parts` places, gauged eight times a season; wear 0.4 at the
    limit. The last ones are at work in the last season."""
    random = np.random.default_rng(seed)
    edges = []
    for place in range(parts):
        own, taken, wear = float(np.exp(random.normal(0.0, 0.1))), np.zeros(SEASONS), 0.0
        gauges: list[tuple[np.ndarray, float]] = []
        made = 0
        for season in range(SEASONS):
            for _ in range(8):
                taken[season] += season_kg / 8
                wear += 1e-5 * own * np.exp(harsh[season]) * season_kg / 8
                gauges.append((taken.copy(), wear + random.normal(0.0, noise)))
                if wear >= 0.4:
                    edges.append(_edge(f"{place}-{made}", gauges, worn_out=True))
                    made += 1
                    own, taken, wear = float(np.exp(random.normal(0.0, 0.1))), np.zeros(SEASONS), 0.0
                    gauges = []
        if gauges:
            edges.append(_edge(f"{place}-{made}", gauges, worn_out=False))
    return tuple(edges)


def _edge(key: str, gauges: list[tuple[np.ndarray, float]], *, worn_out: bool) -> EdgeRecord:
    kg, wear = np.array([kg for kg, _ in gauges]), [wear for _, wear in gauges]
    return replace(worn_edge(key, kg=kg, wear=wear), worn_out=worn_out, in_use=not worn_out)


def die(*edges: EdgeRecord, told_apart: bool = True, key: str = "die") -> TypeRecord:
    if not told_apart:
        edges = tuple(
            replace(
                edge,
                gauge_kg=edge.gauge_kg.sum(axis=1, keepdims=True),
                work_kg=np.zeros((0, 1)),
                now_kg=edge.now_kg.sum(keepdims=True),
            )
            for edge in edges
        )
    harvests = (0,) * SEASONS if told_apart else ()
    return TypeRecord(
        key=key, new=5.0, limit=5.4, crops=1, expected_life_kg=40e3, harvests=harvests, edges=edges
    )


def posterior(*records: TypeRecord) -> Posterior:
    known = learn(records)[0].known
    assert known is not None
    return known.posterior


class TestEffects:
    def test_harvests_that_differ_are_found(self) -> None:
        found = posterior(die(*pressed_through(HARSH, 1, parts=6))).harvests
        assert found.spread > 0.15
        # Only differences are told: a level common to all seasons is the crop's rate.
        away = found.effect - found.effect.mean()
        np.testing.assert_allclose(away, HARSH - HARSH.mean(), atol=0.12)

    @pytest.mark.parametrize("seed", range(3))
    def test_harvests_that_are_alike_are_taken_as_alike(self, seed: int) -> None:
        assert posterior(die(*pressed_through(np.zeros(SEASONS), seed, parts=6))).harvests.spread < 0.06

    def test_two_types_tell_more_than_one(self) -> None:
        dies, screws = pressed_through(HARSH, 1, parts=2), pressed_through(HARSH, 2, parts=4)
        alone = posterior(die(*dies)).harvests
        together = posterior(die(*dies), die(*screws, key="screw")).harvests
        assert np.diag(together.covariance)[1:].sum() < np.diag(alone.covariance)[1:].sum()

    def test_what_harvests_do_is_no_spread_of_parts_and_no_bend(self) -> None:
        edges = pressed_through(HARSH, 1, parts=6)
        apart, mixed = posterior(die(*edges)), posterior(die(*edges, told_apart=False))
        assert apart.wander.part < mixed.wander.part
        assert apart.wander.noise.size < mixed.wander.noise.size

    def test_seed_of_a_harsh_harvest_wears_faster_while_it_is_pressed(self) -> None:
        record = die(*pressed_through(HARSH, 1, parts=6))
        fit = answers(record, learn([record])[0])
        known = fit.new_edge.scenarios
        assert known is not None
        assert known.harvests is not None
        assert float(np.median(known.harvests)) == pytest.approx(np.exp(HARSH[-1]), rel=0.2)
        assert known.harvest_spread > 0.15

    def test_a_harvest_of_which_nothing_was_gauged_is_usual_but_unsure(self) -> None:
        edges = pressed_through(HARSH, 1, parts=6)
        none = tuple(
            replace(
                edge,
                gauges=tuple(g for g, kg in zip(edge.gauges, edge.gauge_kg, strict=True) if not kg[-1]),
                gauge_kg=edge.gauge_kg[edge.gauge_kg[:, -1] == 0],
                now_kg=edge.now_kg * (np.arange(SEASONS) < SEASONS - 1),
                worn_out=edge.worn_out and not edge.now_kg[-1],
            )
            for edge in edges
        )
        known = fit_fleet([die(*none)])[0].new_edge.scenarios
        assert known is not None
        assert known.harvests is not None
        low, mid, high = np.quantile(known.harvests, [0.1, 0.5, 0.9])
        assert mid == pytest.approx(1.0, abs=0.06)
        assert low < 0.85
        assert high > 1.18

    def test_where_harvests_are_not_told_apart_nothing_is_said_of_them(self) -> None:
        known = fit_fleet([die(*pressed_through(HARSH, 1, parts=2), told_apart=False)])[0].new_edge.scenarios
        assert known is not None
        assert known.harvests is None
        assert known.harvest_spread == 0.0


def test_the_order_of_edges_and_types_changes_nothing() -> None:
    dies, screws = pressed_through(HARSH, 1, parts=3), pressed_through(HARSH, 2, parts=2)
    first = fit_fleet([die(*dies), die(*screws, key="screw")])
    second = fit_fleet([die(*reversed(screws), key="screw"), die(*reversed(dies))])

    def left(edge: EdgeFit) -> float:
        found = edge.seed_left(np.ones(1))
        assert found is not None
        return found.mid

    for key in first[0].edges:
        assert left(first[0].edges[key]) == pytest.approx(left(second[1].edges[key]), rel=0.02)


class TestAgainstPlainAlgebra:
    """Two types, two harvests: all unknown numbers of both in one normal equation."""

    def begun(self, seed: int) -> Begun:
        random, rows = np.random.default_rng(seed), 6
        readings = Readings(
            part=np.repeat([0, 1], 3),
            life=np.zeros(rows, dtype=np.int64),
            u=np.tile([0.2, 0.5, 0.9], 2),
            wear=np.tile([0.2, 0.5, 0.9], 2) + random.normal(0.0, 0.1, rows),
            error=np.ones(rows),
            plain=np.ones(rows),
            shifts=np.zeros((rows, 0)),
            rebuilt=np.zeros(rows),
            parts=2,
        )
        return Begun(
            readings=readings,
            prior=np.diag([4.0, 9.0, 25.0]),
            pull=random.normal(0.0, 0.1, 3),
            factors=np.c_[random.uniform(0.1, 1.0, (rows, 2)), np.zeros(rows)],
            harvests=random.uniform(0.0, 0.6, (rows, 2)),
            spreads={"gauge_sd": 0.05, "gauge_guess": 0.07, "part": 0.2, "life": 0.02},
        )

    def covariance(self, readings: Readings, wander: Wander) -> np.ndarray:
        same = readings.part[:, None] == readings.part
        out = (wander.part**2 + wander.life**2) * np.outer(readings.u, readings.u)
        out += wander.noise.between(readings.u, readings.u)
        return np.where(same, out, 0.0) + np.diag(wander.gauge_sd**2 * wander.error)

    def test_all_globals_and_harvests_are_those_of_one_normal_equation(self) -> None:
        types, about = [self.begun(1), self.begun(2)], np.array([0.1, -0.05])
        settled = settle(types, np.zeros(2, dtype=np.int64), about)
        spread = settled[0].harvests.spread
        precision = np.zeros((8, 8))
        pulled = np.zeros(8)
        precision[6:, 6:] = np.eye(2) / spread**2
        for number, (each, found) in enumerate(zip(types, settled, strict=True)):
            weight = np.linalg.inv(self.covariance(each.readings, found.wander))
            columns = np.zeros((6, 8))
            columns[:, 3 * number : 3 * number + 3] = each.factors
            columns[:, 6:] = each.harvests
            away = each.readings.wear - each.readings.u + each.harvests @ about
            precision += columns.T @ weight @ columns
            pulled += columns.T @ weight @ away
            place = slice(3 * number, 3 * number + 3)
            precision[place, place] += each.prior
            pulled[place] -= each.pull
        whole = np.linalg.inv(precision)
        middle = whole @ pulled
        for number, found in enumerate(settled):
            place = slice(3 * number, 3 * number + 3)
            np.testing.assert_allclose(found.harvests.effect, middle[6:], rtol=1e-6)
            np.testing.assert_allclose(found.step, np.clip(middle[place], -0.7, 0.7), rtol=1e-6)
            np.testing.assert_allclose(found.covariance, whole[place, place], rtol=1e-6, atol=1e-12)
            known = np.linalg.solve(whole[place, place], whole[place, 6:]).T
            np.testing.assert_allclose(found.harvests.slope, known, rtol=1e-6, atol=1e-12)
            given = whole[6:, 6:] - known @ whole[place, 6:]
            np.testing.assert_allclose(found.harvests.covariance, given, rtol=1e-6)

    def test_the_spread_is_the_mean_over_the_grid_by_the_likelihood_of_all_readings(self) -> None:
        one, crop = self.begun(3), np.zeros(2, dtype=np.int64)
        (found,) = settle([one], crop, np.zeros(2))
        own = (
            self.covariance(one.readings, found.wander)
            + one.factors @ np.linalg.inv(one.prior) @ one.factors.T
        )
        # The pull moves the globals' prior mean to -pull / prior.
        away = one.readings.wear - one.readings.u + one.factors @ np.linalg.inv(one.prior) @ one.pull
        heights = []
        for spread in SPREADS:
            whole = own + spread**2 * one.harvests @ one.harvests.T
            heights.append(-0.5 * np.linalg.slogdet(whole)[1] - 0.5 * away @ np.linalg.solve(whole, away))
        chance = np.exp(np.array(heights) - max(heights) - SPREADS / SPREAD_SCALE) * np.gradient(SPREADS)
        assert found.harvests.spread == pytest.approx(float(chance @ SPREADS / chance.sum()), rel=1e-6)
