"""The made-up mills do what their kinds say."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from tests.calc.rough.build import mill
from tests.calc.rough.kinds import KINDS, SAYS
from tests.calc.rough.mill import FIRST_DAY, Edge, Mill, season_of


@cache
def made(kind: str, seed: int = 1) -> Mill:
    return mill(KINDS[kind], seed)


def screws(of: Mill) -> list[Edge]:
    return [edge for edge in of.edges if edge.type.name == "screw"]


def test_each_kind_says_what_is_wrong_there() -> None:
    assert list(KINDS) == list(SAYS)


@pytest.mark.parametrize("kind", ["harvest", "wander", "hardface", "people", "drift", "moisture", "pins"])
def test_trouble_leaves_the_seed_of_a_mill_as_it_is(kind: str) -> None:
    for steady, troubled in zip(made("steady").seed, made(kind).seed, strict=True):
        np.testing.assert_array_equal(steady, troubled)


def test_a_life_comes_to_its_limit_on_the_day_on_which_its_progress_does() -> None:
    for kind in ("steady", "runin", "both", "wander", "hardface", "early"):
        for edge in made(kind).edges:
            for life in edge.lives:
                if life.came is not None:
                    assert life.made[life.came] >= life.due * (1 - 1e-9)
                    assert life.came <= life.begun or life.made[life.came - 1] < life.due


def test_even_wear_goes_by_the_seed_of_each_crop() -> None:
    for edge in made("steady").edges:
        life = edge.lives[0]
        np.testing.assert_allclose(life.made[-1], edge.kg.sum(axis=0) @ life.rates, rtol=1e-9)


def test_what_a_harvest_does_is_alike_on_all_presses_and_differs_by_a_third() -> None:
    logs = np.array([_harvest_logs(made("harvest", seed)) for seed in range(6)])
    assert 0.25 < logs.std() < 0.42
    presses = logs.swapaxes(0, 1).reshape(3, -1)
    assert np.corrcoef(presses).min() > 0.8
    assert 0.05 < (presses - presses.mean(axis=0)).std() < 0.15


def _harvest_logs(of: Mill) -> np.ndarray:
    """How much more one kilogram of a harvest wore on each press, shape (presses, harvests)."""
    found = []
    for press in range(3):
        mine = [edge for edge in screws(of) if edge.presses[0][1] == press]
        felt = np.sum([np.diff(edge.lives[0].made, prepend=0.0) for edge in mine], axis=0)
        row = []
        for season in range(5):
            days = [day for day in range(of.days) if season_of(day) == season]
            for crop in range(3):
                on = [day for day in days if of.seed[press][day, crop] > 0]
                due = sum(edge.kg[on, crop].sum() * edge.lives[0].rates[crop] for edge in mine)
                row.append(np.log(felt[on].sum() / due))
        found.append(row)
    return np.array(found)


def test_the_pace_of_a_life_wanders_by_its_spread_and_forgets_itself_over_a_third_of_it() -> None:
    now, later = [], []
    for seed in range(4):
        for edge in made("wander", seed).edges:
            life = edge.lives[0]
            step = np.diff(life.made, prepend=0.0)
            even = edge.kg @ life.rates
            used = even > 0
            pace = np.log(step[used] / even[used])
            gone = np.cumsum(even[used]) / life.due
            ahead = np.searchsorted(gone, gone + 0.33)
            known = ahead < len(pace)
            now += list(pace[known])
            later += list(pace[ahead[known]])
    assert 0.24 < np.std(now) < 0.36
    assert 0.2 < np.corrcoef(now, later)[0, 1] < 0.55


def test_a_screw_is_hard_faced_up_to_twice_and_each_life_is_shorter() -> None:
    faced = [edge for edge in screws(made("hardface")) if edge.works]
    assert faced
    for edge in faced:
        assert len(edge.works) <= 2
        assert [life.came for life in edge.lives[:-1]] == edge.works
        assert np.diff([life.due for life in edge.lives]).max() < 0
    assert made("hardface").happened.dirty.any()
    record = made("hardface").records(made("hardface").days - 1)[2]
    assert any(len(edge.works) == 2 for edge in record.edges)


def test_use_doubles_while_plans_stay_and_two_screws_change_presses() -> None:
    of = made("use")
    for press, plan in enumerate(of.plan):
        kept = []
        for line in plan:
            begun, over = line.start - FIRST_DAY, line.end + 1 - FIRST_DAY
            if over <= of.days:
                kept.append(of.seed[press][begun:over, line.crop].sum() / line.seed_kg)
        assert 0.7 < np.median(kept[:4]) < 1.3
        assert 1.6 < np.median(kept[-6:]) < 2.5
    moved = [edge for edge in screws(of) if len(edge.presses) > 1]
    assert {edge.presses[1] for edge in moved} == {(moved[0].presses[1][0], 0), (moved[0].presses[1][0], 1)}


def test_later_plans_follow_use_where_they_are_made_anew() -> None:
    of = made("replans")
    for press, plan in enumerate(of.plan):
        last = [line for line in plan if line.end + 1 - FIRST_DAY <= of.days][-3:]
        for line in last:
            pressed = of.seed[press][line.start - FIRST_DAY : line.end + 1 - FIRST_DAY, line.crop].sum()
            assert 0.65 < pressed / line.seed_kg < 1.5
    assert max(line.start for line in of.known_plan(0, 100)) < FIRST_DAY + 365


def test_what_goes_off_early_takes_nothing_on_the_shelf_and_would_have_come_to_its_limit() -> None:
    shelved = [edge for edge in made("early").edges if edge.off]
    assert len(shelved) > 3
    for edge in shelved:
        off, back = edge.off[0]
        assert not edge.kg[off : made("early").days if back is None else back].any()
        assert edge.shelved(off)
        assert not edge.shelved(off - 1)
        assert edge.life(off) == 0
        if back is not None:
            assert edge.life(back) == 1
            assert edge.lives[1].made[back - 1] == edge.lives[0].made[off - 1]
    assert any(edge.lives[0].came is not None for edge in shelved)


def test_the_log_of_a_day_holds_nothing_that_was_written_later() -> None:
    for kind in ("steady", "people", "hardface"):
        for record in made(kind).records(700):
            for edge in record.edges:
                assert all(gauge.at <= 700 for gauge in edge.gauges)
                assert all(work.at <= 701 for work in edge.works)
                assert (edge.gauge_kg <= edge.now_kg + 1e-9).all()


def test_seed_by_harvest_adds_up_to_seed_by_crop() -> None:
    of = made("steady")
    for record in of.records(900):
        assert record.columns == 9
        for edge in record.edges:
            kg = next(one for one in of.edges if one.key == edge.key).kg[:901].sum(axis=0)
            np.testing.assert_allclose(record.by_crop(edge.now_kg), kg)


def test_pins_say_between_which_sizes_a_bore_is() -> None:
    checks = [one for edge in made("pins").edges if edge.type.name != "screw" for one in edge.readings]
    assert {one.bound for one in checks} == {"at_least", "below"}
    assert not any(one.bound for edge in screws(made("pins")) for one in edge.readings)


def test_readings_of_a_slipping_crew_are_coarse_and_some_are_mistyped() -> None:
    values = [
        one.value for edge in made("people").edges if edge.type.name == "small die" for one in edge.readings
    ]
    wrong = [value for value in values if not 4.7 <= value <= 5.8]
    assert 0.03 < len(wrong) / len(values) < 0.15
    assert all(round(value * 10, 6).is_integer() for value in values if 4.7 <= value <= 5.8)


def test_presses_rest_for_months_that_no_plan_knows_of() -> None:
    of = made("rests")
    longest = 0
    for press, plan in enumerate(of.plan):
        for line in plan:
            days = of.seed[press][max(line.start - FIRST_DAY, 0) : max(line.end + 1 - FIRST_DAY, 0)].any(
                axis=1
            )
            longest = max(longest, int((~days).sum()))
    assert longest >= 20
