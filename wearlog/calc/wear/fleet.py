"""The simple door of the wear model: records in, fits out."""

from __future__ import annotations

from collections.abc import Sequence

from wearlog.calc.wear.answers import answers
from wearlog.calc.wear.fits import TypeFit
from wearlog.calc.wear.learned import learn
from wearlog.calc.wear.records import TypeRecord


def fit_fleet(records: Sequence[TypeRecord]) -> tuple[TypeFit, ...]:
    """One fit per part type, in the order given. Deterministic; the order of records does not matter.

    A type of which nothing is known gets fits whose basis is "none" and whose numbers are None. Who asks
    often about a fleet whose gauges and works stay the same calls `learn` once, keeps what it says under
    `fingerprint`, and calls `answers`: that gives the same."""
    return tuple(answers(record, learned) for record, learned in zip(records, learn(records), strict=True))


def fit_type(record: TypeRecord) -> TypeFit:
    """`fit_fleet` of one type alone. Where a mill has several, fit them together: they teach each other."""
    return fit_fleet([record])[0]
