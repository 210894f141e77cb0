"""Records of edges from plain lists, and fleets that wear along straight lines."""

from __future__ import annotations

from collections.abc import Hashable, Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wearlog.calc.wear import EdgeFit, EdgeRecord, Gauge


def worn_edge(
    key: Hashable,
    *,
    kg: ArrayLike,
    wear: Sequence[float],
    now_kg: ArrayLike | None = None,
    part: Hashable = None,
    new: float = 5.0,
    toward: float = 1.0,
    worn_out: bool = False,
    in_use: bool = True,
) -> EdgeRecord:
    """An edge from plain lists: the seed at each gauge (a number, or one per crop) and the wear read then."""
    seed = np.asarray(kg, dtype=float)
    crops = seed.shape[1] if seed.ndim == 2 else max(np.size(now_kg) if not len(wear) else 1, 1)
    seed = seed.reshape(len(wear), crops)
    taken = seed[-1] if now_kg is None else np.asarray(now_kg, dtype=float).reshape(crops)
    return EdgeRecord(
        key=key,
        part=key if part is None else part,
        gauges=tuple(Gauge(at=float(i), value=new + toward * w) for i, w in enumerate(wear)),
        gauge_kg=seed,
        work_kg=np.zeros((0, crops)),
        now_kg=taken,
        worn_out=worn_out,
        in_use=in_use,
    )


def straight_fleet(
    seed: int, *, parts: int = 12, rates: Sequence[float] = (1e-5,), gauges: int = 6, spread: float = 0.15
) -> tuple[EdgeRecord, ...]:
    """Parts with one edge, wear 0.4 at the limit, read along the way with errors of 0.02, some worn out."""
    random = np.random.default_rng(seed)
    edges = []
    for part in range(parts):
        own = float(np.exp(random.normal(0.0, spread)))
        mix = random.uniform(0.5, 1.5, len(rates))
        life = mix * 0.4 / (own * float(mix @ np.array(rates)))
        reached = 1.0 if part % 2 else float(random.uniform(0.3, 0.8))
        share = np.linspace(0.1, reached, gauges)
        wear = 0.4 * share + random.normal(0.0, 0.02, gauges)
        edges.append(
            worn_edge(
                part,
                kg=share[:, None] * life,
                wear=wear.tolist(),
                worn_out=reached == 1.0,
                in_use=reached < 1.0,
            )
        )
    return tuple(edges)


def chance_reached(edge: EdgeFit, kg: ArrayLike) -> NDArray[np.float64]:
    """The chance that the limit is reached after each further amount of seed; shape (n, crops) -> (n,).

    Negative amounts look back. All NaN where nothing is known of the edge."""
    kg = np.atleast_2d(np.asarray(kg, dtype=float))
    if edge.scenarios is None:
        return np.full(len(kg), np.nan)
    progress = kg @ edge.scenarios.rates.T
    reached = progress[:, :, None] >= edge.scenarios.needed[None, :, :]
    return np.asarray((reached * edge.scenarios.weights).sum(axis=(1, 2)))
