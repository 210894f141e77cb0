"""Score the forecast of wear on made-up mills in many kinds of trouble, beside plain methods and an oracle.

    python -m tests.calc.rough --kinds harvest,wander,use --mills 4 --tuned     a quick look
    python -m tests.calc.rough --untouched --mills 20 --write                   the table of docs/methods

Mills with the seeds from 0 on may be looked at while a model is tuned (--tuned, the default); those from
1000 on are for measuring alone (--untouched). Each line shows 5 and 95 % points over mills in brackets.
"""

from __future__ import annotations

import argparse
import os
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("OMP_NUM_THREADS", "1")

from tests.calc.rough.kinds import KINDS, SAYS
from tests.calc.rough.scores import Result, result
from tests.calc.rough.table import lines, write, write_cases
from tests.calc.rough.work import score_kinds

TUNED, UNTOUCHED = 0, 1000


def main() -> None:
    parser = argparse.ArgumentParser(
        prog="python -m tests.calc.rough",
        description=__doc__,
        epilog="kinds: " + "; ".join(f"{name}: {says}" for name, says in SAYS.items()),
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--kinds", default=",".join(KINDS), help="names with commas between; default: all")
    parser.add_argument("--mills", type=int, default=5, help="mills of each kind")
    parser.add_argument("--dates", type=int, default=5, help="days on which each mill asks for forecasts")
    parser.add_argument("--jobs", type=int, default=2, help="processes")
    which = parser.add_mutually_exclusive_group()
    which.add_argument("--tuned", action="store_const", dest="first", const=TUNED, default=TUNED)
    which.add_argument("--untouched", action="store_const", dest="first", const=UNTOUCHED)
    parser.add_argument("--first", type=int, dest="first", help="the first seed")
    parser.add_argument("--write", action="store_true", help="put the table into docs/methods/wear-ranges.md")
    parser.add_argument("--cases", type=Path, help="write what each method said of each case to a CSV file")
    given = parser.parse_args()
    kinds = given.kinds.split(",")
    unknown = [name for name in kinds if name not in KINDS]
    if unknown:
        parser.error(f"no such kind: {', '.join(unknown)}")
    seeds = range(given.first, given.first + given.mills)
    results: list[Result] = []
    for kind, mills in score_kinds(kinds, seeds, given.dates, given.jobs):
        results.append(result(kind, mills))
        print(*lines(results[-1:], head=len(results) == 1), sep="\n", flush=True)
        if given.cases:
            write_cases(given.cases, kind, dict(zip(seeds, mills, strict=True)), begin=len(results) == 1)
    if given.write:
        write(results, given.first, given.dates)


if __name__ == "__main__":
    main()
