"""Shares the mills of several kinds between processes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor

from tests.calc.rough.build import mill
from tests.calc.rough.cases import Case, cases_of
from tests.calc.rough.kinds import KINDS


def score_mill(kind: str, seed: int, dates: int) -> list[Case]:
    return cases_of(mill(KINDS[kind], seed), dates)


def score_kinds(
    kinds: Sequence[str], seeds: Sequence[int], dates: int, jobs: int
) -> Iterator[tuple[str, list[list[Case]]]]:
    """The cases of each mill of each kind, as soon as all mills of the kind are scored."""
    with ProcessPoolExecutor(jobs) as pool:
        asked = {kind: [pool.submit(score_mill, kind, seed, dates) for seed in seeds] for kind in kinds}
        for kind in kinds:
            yield kind, [one.result() for one in asked[kind]]
