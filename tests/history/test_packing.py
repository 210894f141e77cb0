"""Arrays come back from bytes to the last bit, and whatever else is there is refused."""

from __future__ import annotations

import sys

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from wearlog.history import packing

WHOLE = st.integers(-(10**7), 10**7)
RECORDED = st.one_of(st.just(np.nan), WHOLE.map(float), WHOLE.map(lambda n: n / 1000), st.floats(width=64))


@given(st.lists(RECORDED, max_size=30), arrays.arrays(np.int64, (3, 2)), st.lists(st.booleans(), max_size=4))
def test_numbers_and_flags_come_back_bit_by_bit(
    recorded: list[float], whole: np.ndarray, flags: list[bool]
) -> None:
    given_arrays = {"recorded": np.array(recorded), "whole": whole, "flags": np.array(flags, dtype=np.bool_)}
    found, notes = packing.unpack(packing.pack(given_arrays, [["P1", 3]]))
    assert notes == [["P1", 3]]
    for name, array in given_arrays.items():
        assert found[name].dtype == array.dtype
        assert found[name].shape == array.shape
        assert np.array_equal(np.isnan(found[name]), np.isnan(array))
        held = ~np.isnan(array)
        assert found[name][held].tobytes() == array[held].tobytes()


def test_recorded_decimals_take_a_few_bytes_each() -> None:
    hours = np.array([3.96, 4.85, np.nan, 0.5] * 1000)
    assert len(packing.pack({"hours_h": hours})) < 2.2 * hours.size


@pytest.mark.parametrize("place", [0, 20, -1])
def test_a_changed_byte_is_noticed(place: int) -> None:
    packed = bytearray(packing.pack({"seed_kg": np.arange(9.0)}))
    packed[place] ^= 1
    with pytest.raises(packing.BadPack):
        packing.unpack(bytes(packed))


@pytest.mark.parametrize("packed", [b"", b"short", b"x" * 400])
def test_other_bytes_are_refused(packed: bytes) -> None:
    with pytest.raises(packing.BadPack):
        packing.unpack(packed)


def test_the_shape_is_another_for_other_code_and_empty_without_sources(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    own = sys.modules[__name__]
    assert packing.shape_of(packing) == packing.shape_of(packing) != packing.shape_of(own)
    monkeypatch.setattr(own, "__file__", "/nowhere/at_all.py")
    assert packing.shape_of(packing, own) == ""
