"""The simple entry point of the wear model: records in, fits out."""

from __future__ import annotations

from collections.abc import Sequence

from wearlog.calc.wear.answers import answers
from wearlog.calc.wear.fits import TypeFit
from wearlog.calc.wear.learned import learn
from wearlog.calc.wear.records import TypeRecord


def fit_fleet(records: Sequence[TypeRecord]) -> tuple[TypeFit, ...]:
    """One fit per part type, in the order given. Deterministic; the order of the records does not matter.

    A type about which nothing is known gets fits with basis "none" and no numbers. To ask repeatedly while
    gauges and works stay the same, call `learn` once, cache its result under `fingerprint`, and call
    `answers`: the results are the same."""
    return tuple(answers(record, learned) for record, learned in zip(records, learn(records), strict=True))


def fit_type(record: TypeRecord) -> TypeFit:
    """`fit_fleet` for a single type. Fit several types together where possible: they inform each other."""
    return fit_fleet([record])[0]
