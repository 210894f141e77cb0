"""What a fleet teaches can be kept while its fingerprint stays. Numbers in records are made up."""

from __future__ import annotations

import pickle
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.calc.plain_edges import straight_fleet, worn_edge
from wearlog.calc.wear import (
    EdgeRecord,
    Gauge,
    Learned,
    TypeRecord,
    Work,
    answers,
    fingerprint,
    fit_fleet,
    learn,
)

calm = settings(max_examples=25, deadline=None)
ONE = np.ones(1)


def die(*edges: EdgeRecord, life: float | None = 40_000.0) -> TypeRecord:
    """A bore that is new at 5.0 mm and worn at 5.4 mm."""
    return TypeRecord(key="die", new=5.0, limit=5.4, crops=1, expected_life_kg=life, edges=edges)


def polished(key: str = "polished") -> EdgeRecord:
    edge = worn_edge(key, kg=[5e3, 10e3, 10e3, 15e3], wear=[0.05, 0.1, 0.2, 0.25], now_kg=[17e3])
    marks = (("", None), ("before", 3), ("after", 3), ("", None))
    gauges = tuple(
        replace(gauge, at=at, phase=phase, work=work)
        for gauge, at, (phase, work) in zip(edge.gauges, (0.0, 2.0, 2.0, 4.0), marks, strict=True)
    )
    work = Work(id=3, at=2.0, resets=False)
    return replace(edge, gauges=gauges, works=(work,), work_kg=np.array([[10e3]]))


def content(learned: tuple[Learned, ...]) -> bytes:
    return pickle.dumps([(one.places, one.known, one.reason) for one in learned])


@calm
@given(st.integers(0, 3), st.floats(0, 1e6), st.booleans())
def test_what_a_working_edge_takes_on_teaches_nothing_and_is_answered(
    seed: int, now_kg: float, in_use: bool
) -> None:
    mine = worn_edge("mine", kg=[8e3], wear=[0.1], now_kg=[9e3])
    before = [die(mine, polished(), *straight_fleet(seed, parts=3))]
    later = replace(mine, now_kg=np.array([now_kg]), in_use=in_use)
    after = [replace(before[0], edges=(later, *before[0].edges[1:]))]
    assert fingerprint(after) == fingerprint(before)
    kept = learn(before)
    assert content(learn(after)) == content(kept)
    # What was kept answers for the edge as it stands now, just as a fit from scratch does.
    asked = answers(after[0], kept[0], ["mine"])
    fresh = fit_fleet(after)[0]
    assert asked.edges["mine"].seed_left(ONE) == fresh.edges["mine"].seed_left(ONE)
    assert asked.edges["mine"].multiplier == fresh.edges["mine"].multiplier
    assert (asked.rates, asked.gauge_sd, asked.spread) == (fresh.rates, fresh.gauge_sd, fresh.spread)


def on_edge(change: Callable[[EdgeRecord], EdgeRecord], index: int) -> Callable[[TypeRecord], TypeRecord]:
    def changed(record: TypeRecord) -> TypeRecord:
        edges = list(record.edges)
        edges[index] = change(edges[index])
        return replace(record, edges=tuple(edges))

    return changed


def gauge(**what: object) -> Callable[[EdgeRecord], EdgeRecord]:
    return lambda edge: replace(edge, gauges=(*edge.gauges[:-1], replace(edge.gauges[-1], **what)))  # type: ignore[arg-type]


def work(**what: object) -> Callable[[EdgeRecord], EdgeRecord]:
    return lambda edge: replace(edge, works=(replace(edge.works[0], **what),))  # type: ignore[arg-type]


def one_more(edge: EdgeRecord) -> EdgeRecord:
    added = Gauge(at=9.0, value=5.1)
    return replace(edge, gauges=(*edge.gauges, added), gauge_kg=np.r_[edge.gauge_kg, [[20e3]]])


CHANGES: dict[str, Callable[[TypeRecord], TypeRecord]] = {
    "the new dimension": lambda record: replace(record, new=5.001),
    "no new dimension": lambda record: replace(record, new=None),
    "the limit": lambda record: replace(record, limit=5.41),
    "the expected life": lambda record: replace(record, expected_life_kg=40_001.0),
    "no expected life": lambda record: replace(record, expected_life_kg=None),
    "the guess of the gauge": lambda record: replace(record, gauge_guess=0.031),
    "an edge less": lambda record: replace(record, edges=record.edges[:-1]),
    "the value of a gauge": on_edge(gauge(value=5.123), 0),
    "the bound of a gauge": on_edge(gauge(bound="at_least"), 0),
    "the instant of a gauge": on_edge(gauge(at=7.5), 0),
    "the phase of a gauge": on_edge(gauge(phase="after"), 1),
    "the work of a gauge": on_edge(gauge(work=3), 1),
    "the seed at a gauge": on_edge(lambda edge: replace(edge, gauge_kg=edge.gauge_kg + 1.0), 0),
    "one more gauge": on_edge(one_more, 0),
    "a polish that is a rebuild": on_edge(work(resets=True), 1),
    "the instant of a polish": on_edge(work(at=2.5), 1),
    "the name of a polish": on_edge(work(id=4), 1),
    "the seed at a polish": on_edge(lambda edge: replace(edge, work_kg=edge.work_kg + 1.0), 1),
    "no polish": on_edge(lambda edge: replace(edge, works=(), work_kg=np.zeros((0, 1))), 1),
    "worn out": on_edge(lambda edge: replace(edge, worn_out=True), 0),
    "two edges of one part": on_edge(lambda edge: replace(edge, part="polished"), 0),
    "what a worn edge took": on_edge(lambda edge: replace(edge, now_kg=edge.now_kg + 1.0), 2),
}


@pytest.mark.parametrize("change", CHANGES.values(), ids=CHANGES.keys())
def test_all_that_teaches_is_in_the_fingerprint(change: Callable[[TypeRecord], TypeRecord]) -> None:
    worn = worn_edge("worn", kg=[40e3], wear=[0.4], now_kg=[41e3], worn_out=True, in_use=False)
    record = die(worn_edge("mine", kg=[8e3, 12e3], wear=[0.1, 0.12]), polished(), worn)
    assert fingerprint([change(record)]) != fingerprint([record])
    assert fingerprint([record, change(record)]) != fingerprint([record, record])


@calm
@given(st.integers(0, 2), st.integers(0, 5), st.floats(-1e-9, 1e-9).filter(lambda by: 5.0 + by != 5.0))
def test_the_least_change_of_a_reading_is_another_fingerprint(seed: int, index: int, by: float) -> None:
    record = die(*straight_fleet(seed, parts=2))
    gauges = list(record.edges[0].gauges)
    gauges[index] = replace(gauges[index], value=gauges[index].value + by)
    changed = replace(record, edges=(replace(record.edges[0], gauges=tuple(gauges)), record.edges[1]))
    assert fingerprint([changed]) != fingerprint([record])


def test_keys_and_the_names_of_parts_and_places_are_no_part_of_the_fingerprint() -> None:
    record = die(*straight_fleet(1, parts=3))
    renamed = [
        replace(
            edge,
            key=f"edge {edge.key}",
            part=f"part {edge.part}",
            gauges=tuple(replace(gauge, place="row 1") for gauge in edge.gauges),
        )
        for edge in record.edges
    ]
    other = [replace(record, edges=tuple(renamed))]
    assert fingerprint(other) == fingerprint([record])
    assert content(learn(other)) == content(learn([record]))


def test_only_the_edges_asked_for_are_known_to_the_answer() -> None:
    record = die(*straight_fleet(2, parts=4))
    (learned,) = learn([record])
    asked = answers(record, learned, [1, 3])
    assert list(asked.edges) == [1, 3]
    assert len(answers(record, learned).edges) == 4
    with pytest.raises(KeyError):
        asked.edges[2]
    with pytest.raises(KeyError):
        answers(record, learned, ["of another mill"])


def test_what_was_learned_of_other_edges_is_refused() -> None:
    record = die(*straight_fleet(2, parts=4))
    (learned,) = learn([record])
    with pytest.raises(ValueError, match="learn again"):
        answers(replace(record, edges=record.edges[:3]), learned)


def test_what_was_learned_can_be_stored_and_read_again() -> None:
    record = die(polished(), *straight_fleet(3, parts=4))
    (learned,) = learn([record])
    (read,) = pickle.loads(pickle.dumps([learned]))
    usual, again = answers(record, learned).edges, answers(record, read).edges
    assert {key: edge.seed_left(ONE) for key, edge in usual.items()} == {
        key: edge.seed_left(ONE) for key, edge in again.items()
    }


def test_nothing_known_is_answered_with_a_reason_for_each_edge() -> None:
    record = die(worn_edge("mine", kg=[], wear=[], now_kg=[5e3]), life=None)
    (learned,) = learn([record])
    found = answers(record, learned)
    assert found.edges["mine"].basis == found.new_edge.basis == "none"
    assert found.edges["mine"].reason
    assert list(answers(record, learned, []).edges) == []
    assert answers(die(), learn([die()])[0]).new_edge.basis == "expected_life"


def test_a_gauge_after_a_gram_of_seed_says_nothing_of_an_edge_that_took_tonnes() -> None:
    record = die(worn_edge("mine", kg=[1e-3], wear=[0.01], now_kg=[1e-3]), life=None)
    (learned,) = learn([record])
    assert answers(record, learned).edges["mine"].basis == "measured"
    later = replace(record, edges=(replace(record.edges[0], now_kg=np.array([5e3])),))
    assert answers(later, learned).edges["mine"].basis == "none"
