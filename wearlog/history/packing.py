"""Arrays as bytes and back, to the last bit, for what is stored in the database beside the log.

What is read back is used only if it is whole: a checksum stands before it, and whatever does not fit raises
`BadPack`, so that it is ignored and made anew. Nothing of it is ever run.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from hashlib import blake2b, sha256
from pathlib import Path
from types import ModuleType

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.generic]
DIGEST = 16
SCALES = (1, 100, 1_000, 1_000_000)
"""Recorded decimals are whole numbers of one of these parts; the quotient is the nearest float again."""
WHOLE = (np.int8, np.int16, np.int32)


class BadPack(ValueError):
    """Bytes that `pack` has not made, or not in this form."""


def pack(arrays: Mapping[str, Array], notes: object = None) -> bytes:
    """Named arrays of numbers or flags, and notes that JSON can hold."""
    heads, bodies = [], []
    for name, array in arrays.items():
        stored, scale = _smallest(array)
        heads.append([name, array.dtype.str, stored.dtype.str, scale, list(array.shape)])
        bodies.append(np.ascontiguousarray(stored).tobytes())
    head = json.dumps([heads, notes]).encode()
    whole = b"".join((len(head).to_bytes(4, "big"), head, *bodies))
    return blake2b(whole, digest_size=DIGEST).digest() + whole


def unpack(packed: bytes) -> tuple[dict[str, Array], object]:
    """What `pack` was given. Raises BadPack."""
    whole = packed[DIGEST:]
    if len(whole) < 4 or blake2b(whole, digest_size=DIGEST).digest() != packed[:DIGEST]:
        raise BadPack("the checksum is another")
    try:
        place = 4 + int.from_bytes(whole[:4], "big")
        heads, notes = json.loads(whole[4:place])
        arrays = {}
        for name, kind, stored_kind, scale, shape in heads:
            size = int(np.prod(shape, dtype=np.int64))
            stored = np.frombuffer(whole, dtype=stored_kind, count=size, offset=place)
            place += stored.nbytes
            arrays[name] = _as_it_was(stored, np.dtype(kind), scale).reshape(shape)
    except (ValueError, TypeError, KeyError, OverflowError) as error:
        raise BadPack(str(error)) from error
    return arrays, notes


def _smallest(array: Array) -> tuple[Array, int]:
    """The array as whole numbers of few bytes where these give the same bits again, with what they count;
    else as it is, with 0."""
    if array.dtype == np.float64:
        known = array[~np.isnan(array)]
        for scale in SCALES:
            with np.errstate(over="ignore", invalid="ignore"):
                whole = np.rint(known * scale)
            if not _largest(whole) < np.iinfo(np.int32).max:
                break
            if ((whole.astype(np.int32) / scale).view(np.int64) == known.view(np.int64)).all():
                kind = _kind_for(whole)
                filled = np.full(array.shape, least(np.dtype(kind)), dtype=kind)
                filled[~np.isnan(array)] = whole.astype(kind)
                return filled, scale
    elif array.dtype == np.int64 and _largest(array) < np.iinfo(np.int32).max:
        return array.astype(_kind_for(array)), 1
    return array, 0


def _kind_for(whole: Array) -> type[np.signedinteger]:
    """The smallest kind of whole number for these; its least value is kept free, for NaN."""
    return next(kind for kind in WHOLE if _largest(whole) <= np.iinfo(kind).max)


def _largest(values: Array) -> float:
    """The largest amount among numbers, whatever their signs; 0 for none."""
    return max(float(values.max()), -float(values.min())) if values.size else 0.0


def least(kind: np.dtype[np.generic]) -> int:
    """The least value of a kind of whole number; it stands for NaN."""
    return -(1 << (8 * kind.itemsize - 1))


def _as_it_was(stored: Array, kind: np.dtype[np.generic], scale: int) -> Array:
    if scale and kind == np.float64:
        values = stored.astype(np.float64) / scale
        values[stored == least(stored.dtype)] = np.nan
        return values
    return stored.astype(kind)


def shape_of(*modules: ModuleType, folders: Iterable[ModuleType] = ()) -> str:
    """A digest of the code that makes and reads what is stored: rows of any other code are not read. Empty
    where the sources are not at hand; then nothing must be stored. folders: packages of which every module
    counts."""
    try:
        files = [Path(str(module.__file__)) for module in modules]
        for package in folders:
            files += sorted(Path(str(package.__file__)).parent.glob("*.py"))
        whole = sha256(np.__version__.encode())
        for file in files:
            whole.update(file.read_bytes())
    except OSError:
        return ""
    return whole.hexdigest()[:32]
