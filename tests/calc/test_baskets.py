"""Costs per tonne on what all have on record, against a plain version, and what must hold of any cells."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.examples import bounded
from wearlog.calc import mix
from wearlog.calc.baskets import Cells, compared, rates_of

PRESSES, CROPS, KINDS = 3, 2, 4


def some_cells(seed: int) -> tuple[Cells, np.ndarray]:
    chance = np.random.default_rng(seed)
    tonnes = chance.choice([0.0, 1.0, 5.0, 20.0], (PRESSES, CROPS))
    on_record = tonnes[..., None] * chance.choice([0.0, 0.4, 0.5, 1.0, 1.0], (PRESSES, CROPS, KINDS))
    amount = on_record * chance.uniform(0, 30, on_record.shape)
    lacking = chance.random((PRESSES, KINDS)) < 0.15
    return Cells(tonnes, amount, on_record), lacking


def plain_common_total(cells: Cells, lacking: np.ndarray) -> list[float] | None:
    """For each press that ran the cost at the crops that all of them ran, of the kinds that all have."""
    ran = [p for p in range(PRESSES) if any(cells.tonnes[p, c] > 0 for c in range(CROPS))]
    shared = [c for c in range(CROPS) if ran and all(cells.tonnes[p, c] > 0 for p in ran)]
    if not shared:
        return None
    kinds = [
        k
        for k in range(KINDS)
        if not any(lacking[p, k] for p in ran)
        and all(cells.on_record_t[p, c, k] >= 0.5 * cells.tonnes[p, c] for p in ran for c in shared)
    ]
    weight = {c: sum(cells.tonnes[p, c] for p in ran) for c in shared}
    whole = sum(weight.values())
    return [
        sum(
            weight[c] / whole * cells.amount[p, c, k] / cells.on_record_t[p, c, k]
            for c in shared
            for k in kinds
        )
        for p in ran
    ]


@settings(max_examples=bounded(2000, 150))
@given(st.integers(0, 10**6))
def test_costs_at_common_crops_agree_with_a_plain_version(seed: int) -> None:
    cells, lacking = some_cells(seed)
    found = compared(cells, lacking)
    plain = plain_common_total(cells, lacking)
    assert (found.common is None) == (plain is None)
    if found.common is not None:
        ran = cells.tonnes.sum(axis=1) > 0
        assert found.common[ran][:, found.kinds].sum(axis=1) == pytest.approx(plain)


@settings(max_examples=bounded(1000, 60))
@given(st.integers(0, 10**6))
def test_the_rate_of_all_cells_is_the_mean_of_their_rates_by_tonnes_on_record(seed: int) -> None:
    cells, _lacking = some_cells(seed)
    amount, on_record = cells.amount.reshape(-1, KINDS), cells.on_record_t.reshape(-1, KINDS)
    each, whole = rates_of(amount, on_record), rates_of(amount.sum(axis=0), on_record.sum(axis=0))
    for kind in range(KINDS):
        known = on_record[:, kind] > 0
        if known.any():
            assert whole[kind] == pytest.approx(np.average(each[known, kind], weights=on_record[known, kind]))
        else:
            assert np.isnan(whole[kind])


def test_a_kind_that_one_press_lacks_makes_no_press_dearer() -> None:
    tonnes = np.array([[10.0], [10.0]])
    amount = np.array([[[100.0, 50.0]], [[120.0, 0.0]]])
    on_record = np.array([[[10.0, 10.0]], [[10.0, 0.0]]])
    found = compared(Cells(tonnes, amount, on_record), np.zeros((2, 2), dtype=bool))
    assert found.kinds.tolist() == [True, False]
    assert found.lacking.tolist() == [[False, False], [False, True]]
    assert found.pressed[:, 0].tolist() == [10.0, 12.0]


def test_a_press_that_never_ran_takes_nothing_from_the_basket() -> None:
    cells = Cells(np.array([[10.0], [0.0]]), np.array([[[5.0]], [[0.0]]]), np.array([[[10.0]], [[0.0]]]))
    assert compared(cells, np.array([[False], [True]])).kinds.tolist() == [True]


def test_presses_alike_at_each_crop_cost_the_same_whatever_they_pressed() -> None:
    """The trap of crude rates: the press that ran more of the dear crop only looks dearer."""
    tonnes = np.array([[30.0, 10.0], [10.0, 30.0]])
    amount = tonnes[..., None] * np.array([[10.0], [30.0]])
    found = compared(Cells(tonnes, amount, tonnes[..., None]), np.zeros((2, 1), dtype=bool))
    assert found.pressed[:, 0].tolist() == [15.0, 25.0]
    assert found.common is not None
    assert found.common[:, 0].tolist() == [20.0, 20.0]


def test_the_direct_standardisation_is_that_of_the_comparison_of_hours() -> None:
    """Held to Fleiss 1981, p. 249, there (`tests/published/test_standardisation.py`)."""
    tonnes = np.array([[12.0, 3.0], [4.0, 9.0]])
    hours = np.array([[600.0, 210.0], [220.0, 540.0]])
    found = compared(Cells(tonnes, hours[..., None], tonnes[..., None]), np.zeros((2, 1), dtype=bool))
    ground = mix.common_ground(tonnes)
    assert ground is not None
    assert found.common is not None
    for press in range(2):
        other = mix.standardise_hours(hours[press], tonnes[press], ground.mix)
        assert isinstance(other, mix.Standardised)
        assert found.common[press, 0] == pytest.approx(other.rate)


def test_amounts_of_another_shape_are_refused() -> None:
    with pytest.raises(ValueError, match="kind behind"):
        Cells(np.zeros((2, 2)), np.zeros((2, 2)), np.zeros((2, 2, 1)))
