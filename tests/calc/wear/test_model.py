"""What the wear model makes of records whose meaning is plain. Numbers in records are made up."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.calc.plain_edges import chance_reached, straight_fleet, worn_edge
from wearlog.calc.wear import EdgeFit, EdgeRecord, Gauge, Quantiles, TypeRecord, Work, fit_fleet, fit_type

ONE = np.ones(1)


def die(*edges: EdgeRecord, life: float | None = 40_000.0, crops: int = 1) -> TypeRecord:
    """A bore that is new at 5.0 mm and worn at 5.4 mm."""
    return TypeRecord(key="die", new=5.0, limit=5.4, crops=crops, expected_life_kg=life, edges=edges)


def left(edge: EdgeFit, mix: np.ndarray = ONE) -> Quantiles:
    found = edge.seed_left(mix)
    assert found is not None
    return found


def width(quantiles: Quantiles) -> float:
    return quantiles.high - quantiles.low


def test_rates_of_three_crops_are_learned_from_edges_that_took_all_of_them() -> None:
    rates = (1.0e-5, 1.6e-5, 0.7e-5)
    fit = fit_type(die(*straight_fleet(1, parts=40, rates=rates), crops=3))
    for found, true in zip(fit.rates, rates, strict=True):
        assert found is not None
        assert found.mid == pytest.approx(true, rel=0.15)
        assert found.low < true < found.high
        assert width(found) < 0.7 * true
    assert fit.gauge_sd == pytest.approx(0.02, rel=0.3)
    assert fit.spread == pytest.approx(0.15, rel=0.4)


def test_seed_left_of_a_well_measured_edge_is_near_the_truth() -> None:
    # 0.2 of 0.4 mm worn after 20 t, read without error: 20 t are left.
    edge = worn_edge("mine", kg=[4e3, 8e3, 12e3, 16e3, 20e3], wear=[0.04, 0.08, 0.12, 0.16, 0.20])
    mine = fit_type(die(edge, *straight_fleet(2))).edges["mine"]
    assert mine.basis == "measured"
    assert left(mine).mid == pytest.approx(20_000, rel=0.08)
    assert left(mine).low < 20_000 < left(mine).high


def test_nothing_known_gives_no_number() -> None:
    edge = worn_edge("mine", kg=[], wear=[], now_kg=[5e3])
    fit = fit_type(die(edge, life=None))
    mine = fit.edges["mine"]
    assert (mine.basis, mine.now, mine.multiplier, mine.scenarios) == ("none", None, None, None)
    assert mine.reason
    assert mine.seed_left(ONE) is None
    assert np.isnan(chance_reached(mine, np.array([[1e6]]))).all()
    assert (fit.rates, fit.gauge_sd, fit.spread, fit.new_edge.basis) == ((None,), None, None, "none")


@pytest.mark.parametrize(("new", "limit"), [(None, 5.4), (5.0, None), (5.0, 5.0)])
def test_a_type_without_two_dimensions_has_no_wear_to_speak_of(
    new: float | None, limit: float | None
) -> None:
    record = replace(die(*straight_fleet(1)), new=new, limit=limit)
    assert {edge.basis for edge in fit_type(record).edges.values()} == {"none"}


def test_expected_life_alone_speaks_of_that_life_with_a_wide_range() -> None:
    fit = fit_type(die(worn_edge("mine", kg=[], wear=[], now_kg=[10e3])))
    mine = fit.edges["mine"]
    assert mine.basis == "expected_life"
    assert left(mine).mid == pytest.approx(30_000, rel=0.15)
    assert left(mine).high > 2 * left(mine).mid > 3 * left(mine).low


def test_other_edges_of_the_type_speak_for_one_without_readings() -> None:
    mine = fit_type(die(worn_edge("mine", kg=[], wear=[], now_kg=[10e3]), *straight_fleet(3))).edges["mine"]
    assert mine.basis == "fleet"
    # The fleet wears 0.4 mm in 40 t whatever the maker says; a wrong life is outvoted.
    wrong = die(worn_edge("mine", kg=[], wear=[], now_kg=[10e3]), *straight_fleet(3), life=100_000.0)
    assert left(fit_type(wrong).edges["mine"]).mid == pytest.approx(left(mine).mid, rel=0.1)


def test_the_second_edge_of_a_part_begins_with_what_the_first_has_shown() -> None:
    # A hard part: 80 t where the fleet takes 40 t.
    first = worn_edge(
        "A", part="hard", kg=[20e3, 40e3, 60e3, 80e3], wear=[0.1, 0.2, 0.3, 0.4], worn_out=True, in_use=False
    )
    second = worn_edge("B", part="hard", kg=[], wear=[], now_kg=[0.0])
    fit = fit_type(die(first, second, *straight_fleet(4)))
    assert left(fit.edges["B"]).mid == pytest.approx(80_000, rel=0.15)
    assert left(fit.new_edge).mid == pytest.approx(40_000, rel=0.15)
    assert width(left(fit.edges["B"])) / left(fit.edges["B"]).mid < 0.7 * width(left(fit.new_edge)) / 40_000


def test_one_reading_is_enough_for_a_range_and_none_at_zero_seed_is_a_crash() -> None:
    once = fit_type(die(worn_edge("mine", kg=[10e3], wear=[0.1]))).edges["mine"]
    assert once.basis == "measured"
    assert 0 < left(once).low < left(once).mid < left(once).high
    unused = fit_type(die(worn_edge("mine", kg=[0.0], wear=[0.01]))).edges["mine"]
    assert unused.basis == "expected_life"
    assert left(unused).mid == pytest.approx(40_000, rel=0.15)


def test_a_reading_at_zero_seed_is_no_ground_for_a_rate() -> None:
    fit = fit_type(die(worn_edge("mine", kg=[0.0], wear=[0.05]), life=None))
    assert fit.edges["mine"].basis == "none"


def test_a_gross_slip_among_ten_readings_hardly_moves_the_forecast() -> None:
    kg = np.arange(1, 11) * 2_000.0
    sound = (0.01 * kg / 1000).tolist()
    slipped = [*sound[:6], sound[6] + 0.3, *sound[7:]]
    without = fit_type(die(worn_edge("mine", kg=kg, wear=sound), *straight_fleet(5))).edges["mine"]
    with_it = fit_type(die(worn_edge("mine", kg=kg, wear=slipped), *straight_fleet(5))).edges["mine"]
    assert left(with_it).mid == pytest.approx(left(without).mid, rel=0.04)


def test_a_lone_large_reading_widens_the_range_and_the_next_reading_decides() -> None:
    def forecast(*wear: float) -> Quantiles:
        kg = [8e3, 9e3][: len(wear)]
        edge = worn_edge("mine", kg=kg, wear=wear, now_kg=[9e3])
        return left(fit_type(die(edge, *straight_fleet(6))).edges["mine"])

    # The fleet would have 0.08 mm at 8 t.
    usual, lone = forecast(0.08), forecast(0.25)
    assert width(lone) > 1.5 * width(usual)
    assert lone.low < 0.5 * usual.low
    assert lone.high > 0.8 * usual.high
    # A second one like it makes it a soft part; a usual one makes it a slip.
    assert forecast(0.25, 0.28).high < 0.3 * usual.low
    assert forecast(0.25, 0.09).mid == pytest.approx(forecast(0.08, 0.09).mid, rel=0.05)


def test_pins_say_on_which_side_the_wear_is() -> None:
    def forecast(*pins: tuple[str, float]) -> Quantiles:
        gauges = tuple(Gauge(at=float(i), value=v, bound=bound) for i, (bound, v) in enumerate(pins))
        edge = replace(
            worn_edge("mine", kg=[], wear=[], now_kg=[20e3]),
            gauges=gauges,
            gauge_kg=np.full((len(gauges), 1), 20e3),
        )
        return left(fit_type(die(edge, *straight_fleet(7))).edges["mine"])

    # The fleet would have 0.2 mm at 20 t: a bore of 5.2 mm.
    none = forecast()
    assert forecast(("at_least", 5.3)).mid < 0.7 * none.mid
    assert forecast(("below", 5.1)).mid > 1.3 * none.mid
    assert forecast(("at_least", 5.0)).mid == pytest.approx(none.mid, rel=0.05)
    both = forecast(("at_least", 5.18), ("below", 5.22))
    assert width(both) < 0.6 * width(none)


def test_a_pin_in_a_part_that_shrinks_bounds_the_wear_the_other_way_round() -> None:
    edge = replace(
        worn_edge("mine", kg=[], wear=[], now_kg=[20e3]),
        gauges=(Gauge(at=0.0, value=69.9, bound="at_least"),),
        gauge_kg=np.array([[20e3]]),
    )
    screw = TypeRecord(key="screw", new=70.0, limit=69.6, crops=1, expected_life_kg=40_000.0, edges=(edge,))
    mine = fit_type(screw).edges["mine"]
    assert mine.now is not None
    # Still at least 69.9 mm: hardly more than 0.1 mm is worn, where the expected life says 0.2.
    assert mine.now.mid < 0.1
    assert mine.now.high < 0.16


def test_a_rebuilt_edge_begins_again_at_what_was_read_after_it() -> None:
    def forecast(*after: Gauge) -> Quantiles:
        last = Gauge(at=4.0, value=5.1 if not after else 5.2)
        first = worn_edge("mine", kg=[10e3, 20e3, 30e3], wear=[0.1, 0.2, 0.3])
        edge = replace(
            first,
            gauges=(*first.gauges, *after, last),
            gauge_kg=np.array([[10e3], [20e3], [30e3], *[[30e3]] * len(after), [40e3]]),
            works=(Work(id=7, at=2.5, resets=True),),
            work_kg=np.array([[30e3]]),
            now_kg=np.array([40e3]),
        )
        return left(fit_type(die(edge, *straight_fleet(8))).edges["mine"])

    # Begun again at 5.1 mm, 0.1 mm more in 10 t: 0.2 mm are left, 20 t.
    assert forecast(Gauge(at=2.5, value=5.1, phase="after", work=7)).mid == pytest.approx(20_000, rel=0.12)
    # Without a reading after it the rebuild made it new: 0.1 mm in 10 t, 0.3 mm left, 30 t.
    assert forecast().mid == pytest.approx(30_000, rel=0.12)


def test_a_polish_takes_from_what_is_left_but_is_not_wear_by_work() -> None:
    before = Gauge(at=2.0, value=5.1, phase="before", work=3)
    after = Gauge(at=2.0, value=5.2, phase="after", work=3)
    edge = replace(
        worn_edge("mine", kg=[5e3, 10e3, 10e3, 15e3, 20e3], wear=[0.05, 0, 0, 0.25, 0.30]),
        works=(Work(id=3, at=2.0, resets=False),),
        work_kg=np.array([[10e3]]),
    )
    gauges = (edge.gauges[0], before, after, edge.gauges[3], edge.gauges[4])
    mine = fit_type(die(replace(edge, gauges=gauges), *straight_fleet(9))).edges["mine"]
    # 0.01 mm a tonne all along: 0.3 mm are gone, 0.1 of them by the polish, and 0.1 mm is left for 10 t.
    assert mine.multiplier is not None
    assert mine.multiplier.mid == pytest.approx(1.0, abs=0.12)
    assert left(mine).mid == pytest.approx(10_000, rel=0.2)


def test_the_worst_of_several_places_decides() -> None:
    edge = worn_edge("mine", kg=[10e3, 10e3, 20e3, 20e3], wear=[0.1, 0.05, 0.2, 0.1])
    gauges = tuple(
        replace(gauge, at=float(index // 2), place=f"row {index % 2}")
        for index, gauge in enumerate(edge.gauges)
    )
    both = fit_type(die(replace(edge, gauges=gauges), *straight_fleet(10))).edges["mine"]
    worst = fit_type(die(worn_edge("mine", kg=[10e3, 20e3], wear=[0.1, 0.2]), *straight_fleet(10))).edges[
        "mine"
    ]
    assert left(both).mid == pytest.approx(left(worst).mid, rel=1e-6)


def test_edges_retired_as_worn_without_a_reading_teach_the_rate() -> None:
    worn = [
        worn_edge(part, kg=[], wear=[], now_kg=[60e3 + 2e3 * part], worn_out=True, in_use=False)
        for part in range(6)
    ]
    fit = fit_type(die(*worn))
    assert fit.new_edge.basis == "fleet"
    assert left(fit.new_edge).mid == pytest.approx(65_000, rel=0.12)
    assert fit_type(die(*worn, life=None)).new_edge.basis == "fleet"


def test_an_edge_read_clearly_past_the_limit_stays_past_it_though_nobody_took_it_off() -> None:
    kg = np.arange(1, 8) * 8_000.0
    edge = worn_edge("mine", kg=kg, wear=(kg * 1e-5).tolist())
    mine = fit_type(die(edge, *straight_fleet(11, parts=30))).edges["mine"]
    assert left(mine) == Quantiles(0.0, 0.0, 0.0)
    assert chance_reached(mine, np.zeros((1, 1)))[0] > 0.95


def test_a_part_that_shrinks_is_the_mirror_image_of_one_that_grows() -> None:
    edges = straight_fleet(12)
    mirrored = tuple(
        replace(e, gauges=tuple(replace(g, value=70.0 - (g.value - 5.0)) for g in e.gauges)) for e in edges
    )
    grows = fit_type(die(*edges))
    shrinks = fit_type(
        TypeRecord(key="screw", new=70.0, limit=69.6, crops=1, expected_life_kg=40_000.0, edges=mirrored)
    )
    for key, edge in grows.edges.items():
        assert left(shrinks.edges[key]).mid == pytest.approx(left(edge).mid, rel=1e-6, abs=1e-3)


def test_types_fitted_together_share_what_a_bend_looks_like() -> None:
    """Many dies have shown an acceleration; a screw that is half worn is expected to go the same way."""

    def bent(v: np.ndarray) -> np.ndarray:
        return 0.5 * v + 0.5 * v**4

    share = np.linspace(0.1, 1.0, 10)
    dies = [
        worn_edge(part, kg=share * 40e3, wear=(0.4 * bent(share)).tolist(), worn_out=True, in_use=False)
        for part in range(12)
    ]
    young = np.linspace(0.1, 0.6, 6)
    screws = [
        worn_edge(part, kg=young * 400e3, wear=bent(young).tolist(), new=70.0, toward=-1.0)
        for part in range(3)
    ]
    screw = TypeRecord(
        key="screw", new=70.0, limit=69.0, crops=1, expected_life_kg=600_000.0, edges=tuple(screws)
    )
    together = fit_fleet([die(*dies), screw])[1].edges[0]
    alone = fit_fleet([screw])[0].edges[0]
    # 160 t are left of 400 t; a straight line through the readings would say more than 300 t.
    assert left(together).mid == pytest.approx(160_000, rel=0.25)
    assert left(together).mid < left(alone).mid
    assert width(left(together)) < width(left(alone))


def test_the_same_records_give_the_same_answer() -> None:
    record = die(*straight_fleet(13))
    first, second = fit_type(record), fit_type(record)
    assert [left(edge) for edge in first.edges.values()] == [left(edge) for edge in second.edges.values()]


def test_an_empty_fleet_is_no_error() -> None:
    assert fit_fleet([]) == ()
    assert fit_type(die()).new_edge.basis == "expected_life"


def test_seed_left_of_a_mix_lies_between_those_of_its_crops() -> None:
    fit = fit_type(die(*straight_fleet(14, parts=20, rates=(1e-5, 2e-5)), crops=2))
    mild, rough = (left(fit.new_edge, np.array(mix)).mid for mix in ([1.0, 0.0], [0.0, 1.0]))
    assert rough < left(fit.new_edge, np.array([1.0, 1.0])).mid < mild
    assert fit.new_edge.seed_left(np.zeros(2)) is None


def test_the_chance_of_the_limit_rises_with_the_seed() -> None:
    fit = fit_type(die(*straight_fleet(15)))
    chance = chance_reached(fit.new_edge, np.linspace(0, 100e3, 40)[:, None])
    assert chance[0] == 0
    assert chance[-1] > 0.95
    assert (np.diff(chance) >= 0).all()


def test_twice_the_fleet_narrows_the_median_range_over_fifty_mills() -> None:
    def median_width(parts: int) -> float:
        widths = []
        for seed in range(50):
            found = left(fit_type(die(*straight_fleet(seed, parts=parts, gauges=4))).new_edge)
            widths.append(width(found) / found.mid)
        return float(np.median(widths))

    narrow, wide = median_width(16), median_width(8)
    assert narrow < 0.96 * wide
    assert median_width(32) < narrow
