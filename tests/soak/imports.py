"""Imports at full size: `python -m tests.soak.imports beside`, `... kills`, `... memory`.

`beside` imports 60,000 runs by page into the real site in one process on SQLite, while four people enter
notes and runs and somebody asks for the write lock fifty times a second. `kills` kills the worker of an
import a hundred times at any moment. `memory` imports 650,000 runs by command and says how much memory that
took at most. Each prints its figures and ends with 1 where something is wrong.
"""

from __future__ import annotations

import argparse
import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from tests.services.importing import ROOT, import_beside, kill_imports, surroundings


def beside(folder: Path, asked: argparse.Namespace) -> bool:
    runs = asked.runs or 60_000
    found = import_beside(
        folder, runs=runs, people=4, every_s=asked.every, quiet_s=20, by_command=asked.command
    )
    apart, meeting = found.spent(beside_storing=False), found.spent(beside_storing=True)
    print(f"{runs:,} runs in {found.took_s:.1f} s: {', '.join(found.states)}")
    print(f"the lock was held for {found.storing_s:.1f} s at most")
    print(f"{len(found.entries)} entries, {len(found.errors)} errors {found.errors[:3]}")
    print(f"before the import: p95 {found.p95_before_s:.2f} s")
    print(f"apart from the storing: p95 {found.p95_s:.2f} s, at most {max(apart, default=0):.2f} s")
    print(f"{len(meeting)} entries met the storing: at most {max(meeting, default=0):.2f} s")
    print(f"stored: {found.runs - runs} runs and {found.notes} notes of theirs")
    whole = found.runs - runs + found.notes == len(found.entries)
    return whole and not found.errors and found.states[-1] == "done"


def kills(folder: Path, asked: argparse.Namespace) -> bool:
    found = kill_imports(folder, runs=asked.runs or 10_000, times=asked.times, seed=asked.seed)
    print(f"{asked.times} imports, {found.kills} workers killed, {found.before} before anything was stored")
    print(f"{len(found.halves)} half stored; {found.ended.count('done')} done by the next worker")
    return not found.halves and set(found.ended) == {"done"}


def memory(folder: Path, asked: argparse.Namespace) -> bool:
    runs = asked.runs or 650_000
    # In a process of its own: what a process held when it started another counts as held by that one too.
    made = "import sys; from pathlib import Path; from tests.benchmarks.import_runs import rows, write\n"
    made += "write(Path(sys.argv[1]), rows(int(sys.argv[2])))"
    subprocess.run([sys.executable, "-c", made, str(folder / "book"), str(runs)], cwd=ROOT, check=True)
    environment = surroundings(folder / "data")
    subprocess.run([sys.executable, "manage.py", "migrate", "-v0"], env=environment, cwd=ROOT, check=True)
    for what, words in (("checked", ["--dry-run"]), ("stored", []), ("the same again", [])):
        begun = time.monotonic()
        process = subprocess.Popen(
            [sys.executable, "manage.py", "import_logbook", str(folder / "book"), *words],
            env=environment,
            cwd=ROOT,
            stderr=subprocess.DEVNULL,
        )
        _pid, status, used = os.wait4(process.pid, 0)
        if status:
            return False
        print_result(what, runs, used, time.monotonic() - begun)
    return True


def print_result(what: str, runs: int, used: resource.struct_rusage, seconds: float) -> None:
    print(f"{runs:,} runs {what}: {used.ru_maxrss / 1024:,.0f} MB at most, {seconds:.0f} s")


def main() -> int:
    arguments = argparse.ArgumentParser(prog="python -m tests.soak.imports")
    arguments.add_argument("what", choices=["beside", "kills", "memory"])
    arguments.add_argument("--runs", type=int, default=0)
    arguments.add_argument("--times", type=int, default=100)
    arguments.add_argument("--seed", type=int, default=1)
    arguments.add_argument("--every", type=float, default=1.0, help="seconds between two entries of a person")
    arguments.add_argument(
        "--command", action="store_true", help="beside: import by command, which takes more than a page does"
    )
    asked = arguments.parse_args()
    with tempfile.TemporaryDirectory(prefix="wearlog-imports-") as folder:
        well = {"beside": beside, "kills": kills, "memory": memory}[asked.what](Path(folder), asked)
    print("all is well" if well else "SOMETHING IS WRONG")
    return 0 if well else 1


if __name__ == "__main__":
    sys.exit(main())
