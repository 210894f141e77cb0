"""Other models of the wear still to come, which speak beside the wear model where the mill's past says so.

They share what the wear model finds of rates, of gauges and of the wear of today, and differ in how wear
goes on from there; so a candidate costs little. `choice` weighs them by how well each would have told past
limits. See docs/methods/choice.md.
"""

from __future__ import annotations

from collections.abc import Collection, Hashable, Mapping
from functools import cached_property
from typing import Final

from wearlog.calc.candidates import calm, steps
from wearlog.calc.wear import EdgeFit, Learned, TypeFit, TypeRecord

PRESENT: Final = "present"
CALM: Final = "calm"
STEPS: Final = "steps"
OTHERS = (CALM, STEPS)


class Candidates:
    """What each candidate says of the edges of one type; `present` is the wear model's own fit."""

    def __init__(self, record: TypeRecord, learned: Learned, present: TypeFit) -> None:
        self.record, self.learned, self.present = record, learned, present

    def fits(self, key: Hashable, names: Collection[str] = OTHERS) -> Mapping[str, EdgeFit]:
        """By name, what those of the `names` that are other candidates than the present model say of an edge;
        empty where nothing is known of it."""
        own = self.present.edges[key]
        if self.learned.known is None or own.scenarios is None:
            return {}
        found = {}
        if CALM in names:
            found[CALM] = self._calm.edges[key]
        if STEPS in names:
            found[STEPS] = steps.edge_by_steps(own, self._steps)
        return found

    @cached_property
    def _calm(self) -> TypeFit:
        return calm.answers_without_straying(self.record, self.learned)

    @cached_property
    def _steps(self) -> steps.Steps:
        assert self.learned.known is not None
        return steps.learn_steps(self.learned.known)
