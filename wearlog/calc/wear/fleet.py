"""The door of the wear model: records in, fits out."""

from __future__ import annotations

from collections.abc import Hashable, Sequence

import numpy as np

from wearlog.calc.wear.answers import answer
from wearlog.calc.wear.fits import EdgeFit, TypeFit
from wearlog.calc.wear.lives import PLAIN, WORN_OUT, Rows, rows_of
from wearlog.calc.wear.model import Posterior, Problem, fit
from wearlog.calc.wear.records import TypeRecord

LIFE_SD, ROUGH_SD = 0.4, 1.0
NO_WORK = 1e-6

NO_DIMENSIONS = "the part type has no new dimension or no limit"
NOTHING_KNOWN = "no gauge of this type has been read after use, and no expected life is given"


def fit_fleet(records: Sequence[TypeRecord]) -> tuple[TypeFit, ...]:
    """One fit per part type, in the order given. Deterministic; the order of records does not matter.

    A type of which nothing is known gets fits whose basis is "none" and whose numbers are None."""
    problems: dict[int, Problem] = {}
    informed: dict[int, bool] = {}
    reasons: dict[int, str] = {}
    for index, record in enumerate(records):
        if record.new is None or record.limit is None or record.new == record.limit:
            reasons[index] = NO_DIMENSIONS
            continue
        budget = abs(record.limit - record.new)
        rows = rows_of(record)
        taken = rows.kg.sum(axis=1)
        # A gram of seed is no work: next to what the type's edges take it counts as none.
        most = max(taken.max(initial=0.0), rows.edge_kg.sum(axis=1).max(initial=0.0))
        used = (taken > NO_WORK * most) & np.isin(rows.kind, (PLAIN, WORN_OUT))
        informed[index] = bool(used.any())
        believed = _believed_log_rate(record, rows, used, budget)
        if believed is not None:
            problems[index] = Problem(rows, budget, *believed, record.gauge_guess)
        else:
            reasons[index] = NOTHING_KNOWN
    posteriors: dict[int, Posterior] = {}
    if problems:
        posteriors = dict(zip(problems, fit(list(problems.values())), strict=True))
    retired_worn = sum(int((problem.rows.kind == WORN_OUT).sum()) for problem in problems.values())
    return tuple(
        _nothing(record, reasons[index])
        if index in reasons
        else answer(record, problems[index], posteriors[index], informed[index], retired_worn)
        for index, record in enumerate(records)
    )


def fit_type(record: TypeRecord) -> TypeFit:
    """`fit_fleet` of one type alone. Where a mill has several, fit them together: they teach each other."""
    return fit_fleet([record])[0]


def _nothing(record: TypeRecord, reason: str) -> TypeFit:
    def blank(key: Hashable) -> EdgeFit:
        return EdgeFit(key=key, basis="none", reason=reason)

    return TypeFit(
        key=record.key,
        rates=(None,) * record.crops,
        gauge_sd=None,
        spread=None,
        edges={edge.key: blank(edge.key) for edge in record.edges},
        new_edge=blank(None),
    )


def _believed_log_rate(
    record: TypeRecord, rows: Rows, used: np.ndarray, budget: float
) -> tuple[float, float] | None:
    """Logarithm of the overall rate before the fit, and how sure it is: by the expected life, which counts
    like one edge; where there is none, or readings contradict it more than tenfold (a slip of the unit), by
    the middle of the crude rates, with little weight."""
    rough = _rough_log_rate(rows, used, budget) if used.any() else None
    if record.expected_life_kg and record.expected_life_kg > 0:
        told = float(np.log(budget / record.expected_life_kg))
        if rough is None or abs(rough - told) < np.log(10.0):
            return told, LIFE_SD
    return None if rough is None else (rough, ROUGH_SD)


def _rough_log_rate(rows: Rows, used: np.ndarray, budget: float) -> float:
    ratios = np.maximum(rows.wear[used], 0.02 * budget) / rows.kg[used].sum(axis=1)
    return float(np.log(np.median(ratios)))
