"""The oracle: it knows the true wear of each edge and its lasting rates, and spends them along the same plan.

It does not know how plans will be missed, what the harvests to come do, or how wear will wander.
"""

from __future__ import annotations

import numpy as np

from tests.calc.rough.mill import Edge, Mill, by_season_of_year
from tests.calc.rough.plain.path import Days, Path


def days_by_truth(mill: Mill, edge: Edge, path: Path) -> Days | None:
    life = edge.lives[edge.life(path.day)]
    left = life.due - float(life.made[path.day])
    wet = by_season_of_year(mill.kind, np.arange(len(path.kg)) + path.day + 1)
    return Path(path.day, path.kg * wet[:, None]).days([left] * 3, life.rates)
