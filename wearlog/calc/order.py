"""The order of rows by several columns, quickly where the first hardly ever has a value twice."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


def order_by(first: Floats, *then: NDArray[np.float64] | Ints) -> Ints:
    """The indexes that put rows in order by `first`, those with the same one by the next column, and so on;
    rows that are the same in all of them keep their order. Shape (n,) each, without NaN; no units.

    Logs are written down nearly in order of time, so that sorting by time alone costs a tenth of sorting by
    all columns; that is done only where an instant occurs twice."""
    order = np.argsort(first, kind="stable")
    ordered = first[order]
    if (ordered[1:] == ordered[:-1]).any():
        order = np.lexsort((*reversed(then), first))
    return order.astype(np.int64, copy=False)
