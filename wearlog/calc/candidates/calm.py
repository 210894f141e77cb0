"""The wear model with a tenth of its noise: each edge keeps to its own straight line (or bend).

The noise of the wear model (`wear.noise`) is learned from readings alone. Where readings err in ways that
look like wear which strays (a gauge that drifts, a pin for a ruler), it is too large; then this one tells the
limits better. Everything else is as learned, but that an edge takes the effects of harvests as all parts tell
them, itself among them: to take its own readings out again needs the noise with which they were put in.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from wearlog.calc.wear import Learned, TypeFit, TypeRecord, answers

LEFT = 0.1
"""So much of the variance is left; none at all would say that an edge with many readings is known exactly."""


def answers_without_straying(record: TypeRecord, learned: Learned) -> TypeFit:
    """As `wear.answers`, with a tenth of the learned variance of what strays."""
    known = learned.known
    if known is None:
        return answers(record, learned)
    wander = known.posterior.wander
    noise = replace(wander.noise, size=LEFT * wander.noise.size)
    harvests = known.posterior.harvests
    harvests = replace(harvests, factors=np.zeros_like(harvests.factors))
    posterior = replace(known.posterior, wander=replace(wander, noise=noise), harvests=harvests)
    return answers(record, replace(learned, known=replace(known, posterior=posterior)))
