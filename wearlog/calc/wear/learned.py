"""The costly half of the wear model: what is learned from a fleet, and a fingerprint of the data behind it.

`learn` reads gauges, works, edges retired as worn and the properties of the types. It does not read the seed
that an edge in use has taken since its last gauge, keys, or whether an edge is in use; `answers` takes
these from the record. The result (plain arrays that can be pickled) can therefore be cached as long as the
`fingerprint` of the records stays the same, and new runs alone never change it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from hashlib import sha256

import numpy as np

from wearlog.calc.wear.lives import PLAIN, WORN_OUT, Places, Rows, rows_of
from wearlog.calc.wear.model import Posterior, fit
from wearlog.calc.wear.records import Floats, TypeRecord
from wearlog.calc.wear.state import TypeToFit

LIFE_SD, ROUGH_SD = 0.3, 1.0
NO_WORK = 1e-6
LEAST_KG = 1e-100  # in any unit: with less seed, rates would be too large for a floating-point number

NO_DIMENSIONS = "the part type has no new dimension or no limit"
NOTHING_KNOWN = "no gauge of this type has been read after use, and no expected life is given"


@dataclass(frozen=True, kw_only=True)
class Known:
    """What was learned about a type for which there is enough data.

    informed: whether edges of the type were informative, and not the expected life alone. most_kg: the most
    seed that an edge had taken when it was read or retired as worn. retired_worn: how many edges of the whole
    fleet were retired as worn.
    """

    problem: TypeToFit
    posterior: Posterior
    informed: bool
    most_kg: float
    retired_worn: int


@dataclass(frozen=True, kw_only=True)
class Learned:
    """What was learned about one type, as input for `answers`. `places` gives the present state of each edge,
    in the order of the record that was learned from; where `known` is None, `reason` says why."""

    edges: int
    places: Places | None = None
    known: Known | None = None
    reason: str = ""


def learn(records: Sequence[TypeRecord]) -> tuple[Learned, ...]:
    """Fit the types together; one result for each record in the order given.

    Deterministic; equal fingerprints give equal results. The order of types, edges and gauges changes
    nothing but rounding."""
    fitted: dict[int, tuple[TypeToFit, Places, bool, float]] = {}
    reasons: dict[int, str] = {}
    for index, record in enumerate(records):
        if record.new is None or record.limit is None or record.new == record.limit:
            reasons[index] = NO_DIMENSIONS
            continue
        budget = abs(record.limit - record.new)
        rows, places = rows_of(record)
        taken = rows.kg.sum(axis=1)
        most = float(taken.max(initial=0.0))
        # Compared with the seed that edges take until they are read or worn, less than this counts as unused.
        least = max(NO_WORK * most, NO_WORK * (record.expected_life_kg or 0.0), LEAST_KG)
        used = (taken > least) & np.isin(rows.kind, (PLAIN, WORN_OUT))
        prior = _prior_log_rate(record, rows, used, budget)
        if prior is None:
            reasons[index] = NOTHING_KNOWN
        else:
            harvests = np.array(record.harvests, dtype=np.int64)
            problem = TypeToFit(rows, budget, *prior, record.gauge_guess, harvests)
            fitted[index] = (problem, places, bool(used.any()), most)
    posteriors = iter(fit([problem for problem, *_ in fitted.values()]) if fitted else [])
    retired_worn = sum(int((problem.rows.kind == WORN_OUT).sum()) for problem, *_ in fitted.values())
    out = []
    for index, record in enumerate(records):
        if index in reasons:
            out.append(Learned(edges=len(record.edges), reason=reasons[index]))
            continue
        problem, places, informed, most = fitted[index]
        known = Known(
            problem=problem,
            posterior=next(posteriors),
            informed=informed,
            most_kg=most,
            retired_worn=retired_worn,
        )
        out.append(Learned(edges=len(record.edges), places=places, known=known))
    return tuple(out)


def fingerprint(records: Sequence[TypeRecord]) -> str:
    """SHA-256, in hexadecimal, of exactly what `learn` reads, with arrays as their bytes.

    Equal fingerprints mean that `learn` gives equal results. Parts enter only by which edges share them, not
    by name. Keys, places of gauges, `in_use` and the `now_kg` of edges that aren't retired as worn don't
    enter."""
    digest = sha256()
    for record in records:
        for piece in _pieces(record):
            digest.update(piece)
    return digest.hexdigest()


def _pieces(record: TypeRecord) -> Iterator[bytes]:
    """The content of a record as bytes; earlier pieces determine the length of later ones."""
    parts: dict[object, int] = {}
    edges: list[object] = []
    words: list[object] = []
    numbers: list[float] = []
    arrays: list[bytes] = []
    for edge in record.edges:
        part = parts.setdefault(edge.part, len(parts))
        edges.append((part, bool(edge.worn_out), len(edge.gauges), len(edge.works)))
        for gauge in edge.gauges:
            words.append((gauge.bound, gauge.phase, gauge.work))
            numbers += (gauge.at, gauge.value)
        for work in edge.works:
            words.append((work.id, bool(work.resets)))
            numbers.append(work.at)
        arrays += (_bytes(edge.gauge_kg), _bytes(edge.work_kg))
        if edge.worn_out:
            arrays.append(_bytes(edge.now_kg))
    facts = (record.new, record.limit, record.expected_life_kg, record.gauge_guess)
    yield repr(([fact is None for fact in facts], record.crops, record.harvests, edges, words)).encode()
    yield np.array([*(fact or 0.0 for fact in facts), *numbers], dtype=float).tobytes()
    yield b"".join(arrays)


def _bytes(values: Floats) -> bytes:
    return np.asarray(values, dtype=float).tobytes()


def _prior_log_rate(
    record: TypeRecord, rows: Rows, used: np.ndarray, budget: float
) -> tuple[float, float] | None:
    """The prior of the logarithm of the overall rate, as mean and standard deviation: from the expected life,
    which counts like one edge; without one, or where readings contradict it more than tenfold (it is probably
    in the wrong unit), from the median of the crude rates, with little weight. None without either."""
    rough = _rough_log_rate(rows, used, budget) if used.any() else None
    if record.expected_life_kg and record.expected_life_kg > 0:
        expected = float(np.log(budget / record.expected_life_kg))
        if rough is None or abs(rough - expected) < np.log(10.0):
            return expected, LIFE_SD
    return None if rough is None else (rough, ROUGH_SD)


def _rough_log_rate(rows: Rows, used: np.ndarray, budget: float) -> float:
    ratios = np.maximum(rows.wear[used], 0.02 * budget) / rows.kg[used].sum(axis=1)
    return float(np.log(np.median(ratios)))
