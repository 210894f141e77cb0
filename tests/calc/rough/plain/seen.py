"""What plain methods see of a mill: for each life of each edge its seed and wear at its readings."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from tests.calc.rough.mill import Edge, Mill


@dataclass(frozen=True)
class Seen:
    """A life as the log has it. kg: seed since its beginning at the readings, shape (n, crops); wear: at the
    same, mm, shape (n,). now_kg: seed until now or until its end, shape (crops,). ended: it is over; worn: it
    ended because it was worn."""

    edge: Edge
    kg: np.ndarray
    wear: np.ndarray
    now_kg: np.ndarray
    ended: bool
    worn: bool


def lives_seen(mill: Mill, day: int) -> dict[str, list[Seen]]:
    """The lives of each type's edges up to the end of `day`; the last of an edge comes last."""
    out: dict[str, list[Seen]] = defaultdict(list)
    for edge in mill.edges:
        if edge.started > day:
            continue
        total = np.cumsum(edge.kg, axis=0)
        over = edge.ended is not None and edge.ended <= day
        cuts = [at for at in edge.works if at <= day]
        begins = [-1, *cuts]
        for begun, end in zip(begins, [*cuts, None], strict=True):
            last = day if end is None else end
            start = total[begun] if begun >= 0 else np.zeros(total.shape[1])
            read = list(_values(edge, day, begun, last))
            ended = end is not None or over
            out[edge.type.name].append(
                Seen(
                    edge=edge,
                    kg=np.array([total[at] - start for at, _ in read]).reshape(len(read), total.shape[1]),
                    wear=np.array([edge.type.toward * (value - edge.type.new) for _, value in read]),
                    now_kg=total[last] - start,
                    ended=ended,
                    worn=ended and mill.kind.readings.told_worn,
                )
            )
    return out


def _values(edge: Edge, day: int, begun: int, last: int) -> Iterator[tuple[int, float]]:
    """Days and values of the readings of a life; of a check with pins the middle between them."""
    read = [one for one in edge.readings if one.known(day) and begun < one.written <= last]
    read = sorted((one for one in read if one.work is None), key=lambda one: one.written)
    through = {one.day: one.value for one in read if one.bound == "at_least"}
    for one in read:
        if not one.bound:
            yield one.written, one.value
        elif one.bound == "below":
            yield one.written, (through.get(one.day, edge.type.new) + one.value) / 2.0
