"""The crude rule: wear at the last reading over the seed until then.

Its range is seven to thirteen tenths of what is left. It knows neither crops nor slips nor other edges.
"""

from __future__ import annotations

import numpy as np

from tests.calc.rough.plain.path import Days, Path
from tests.calc.rough.plain.seen import Seen


def days_by_lumped_rate(budget: float, one: Seen, path: Path) -> Days | None:
    if not len(one.wear) or one.wear[-1] <= 0 or one.kg[-1].sum() <= 0:
        return None
    left = budget * float(one.kg[-1].sum()) / float(one.wear[-1]) - float(one.now_kg.sum())
    return path.days([max(part * left, 0.0) for part in (0.7, 1.0, 1.3)], np.ones(len(one.now_kg)))
