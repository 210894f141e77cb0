"""Fifty people at once, on the stack of a server or of one machine, as one command:

    .venv/bin/pip install -e '.[load]'
    .venv/bin/python -m tests.load --stack server --between 30 --minutes 5

Builds a mill of 20 presses and ten years, starts PostgreSQL, Redis, gunicorn, a worker and the schedule (or,
with `--stack quickstart`, the one process on SQLite), lets people read and log (`people`), and prints for
each kind of act how long it took, its ratio to the two pages beside the site's, what failed, which accepted
entries are not in the log, and the memory of each process. Nothing here is a test: no figure passes or fails.
"""

from __future__ import annotations

import argparse
import csv
import json
import os
import secrets
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

from tests.services import servers
from tests.services.processes import CELERY, ROOT, end, run, start

MILL = [sys.executable, "-m", "tests.load.mill"]


def main() -> None:
    asked = argparse.ArgumentParser(prog="python -m tests.load", description=__doc__.splitlines()[0])
    asked.add_argument("--stack", choices=("server", "quickstart"), default="server")
    asked.add_argument("--people", type=int, default=50)
    asked.add_argument("--between", type=float, default=30.0, help="seconds between two acts of a person")
    asked.add_argument("--minutes", type=float, default=5.0)
    asked.add_argument("--presses", type=int, default=20)
    asked.add_argument("--years", type=int, default=10)
    asked.add_argument("--web", type=int, default=2, help="gunicorn's workers")
    asked.add_argument("--threads", type=int, default=16, help="threads of each of them")
    asked.add_argument("--workers", type=int, default=1, help="Celery's processes")
    asked.add_argument(
        "--keep", type=Path, help="keep the mill of quickstart in this folder, and use it again"
    )
    options = asked.parse_args()
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="wearlog-load-")))
        stand = server if options.stack == "server" else quickstart
        environment, processes, port = stack.enter_context(stand(folder, options))
        plan = json.loads(run([*MILL, "people", str(options.people)], environment))
        (folder / "plan.json").write_text(json.dumps(plan | {"between": options.between}))
        taken = folder / "taken"
        taken.touch()
        load(folder, port, options, taken)
        print(report(folder / "acts_stats.csv"))
        accepted = taken.read_text().split()
        stored = set(run([*MILL, "refs"], environment).split())
        lost = [ref for ref in accepted if ref not in stored]
        print(f"{len(accepted)} entries accepted, {len(lost)} of them not in the log")
        for name, process in processes.items():
            print(f"{memory(process.pid):7.0f} MB  {name}")
            print(last_fault((folder / f"{name}.log").read_text(errors="replace")), end="")


def last_fault(log: str) -> str:
    """The last lines of the last fault in a server's log, and how many there were; empty without one."""
    *_, last = log.split("Traceback (most recent call last):")
    count = log.count("Traceback (most recent call last):")
    return f"{count} faults, the last one:{last[-1500:]}\n" if count else ""


def surroundings(folder: Path, database_url: str, **more: str) -> dict[str, str]:
    data = folder / "data"
    (data / "static").mkdir(parents=True, exist_ok=True)
    return os.environ | {
        "DJANGO_SETTINGS_MODULE": "tests.load.settings",
        "DATABASE_URL": database_url,
        "DATA_DIR": str(data),
        "PYTHONPATH": str(ROOT),
        "DEBUG": "0",
        "HTTPS": "0",
        "SECRET_KEY": secrets.token_urlsafe(50),
        "ALLOWED_HOSTS": "127.0.0.1",
        "EMAIL_URL": f"filemail://{data / 'mail'}",
        "OPENBLAS_NUM_THREADS": "1",
        **more,
    }


def build(environment: dict[str, str], options: argparse.Namespace) -> None:
    print(f"building {options.presses} presses, {options.years} years ...", flush=True)
    run([*MILL, "build", str(options.presses), str(options.years)], environment)


Stand = tuple[dict[str, str], dict[str, "subprocess.Popen[bytes]"], int]


@contextmanager
def server(folder: Path, options: argparse.Namespace) -> Iterator[Stand]:
    """gunicorn, PostgreSQL, Redis, a worker and the schedule, as on `docs/server.md`."""
    programs, redis = servers.postgres_programs(), servers.redis_program()
    assert programs
    assert redis
    port = servers.free_port()
    with servers.postgres_server(programs) as url, servers.redis_server(redis) as queue:
        run([str(programs / "createdb"), "--maintenance-db", f"{url}/postgres", "load"], dict(os.environ))
        environment = surroundings(folder, f"{url}/load", REDIS_URL=queue.url)
        build(environment, options)
        commands = {
            "gunicorn": [
                *(sys.executable, "-m", "gunicorn", "--bind", f"127.0.0.1:{port}"),
                *("--workers", str(options.web), "--threads", str(options.threads)),
                *("--timeout", "60", "--keep-alive", "75", "wearlog.config.wsgi"),
            ],
            "worker": [*CELERY, "worker", "-l", "warning", "-c", str(options.workers)],
            "schedule": [*CELERY, "beat", "-l", "warning", "-s", str(folder / "beat"), "--pidfile="],
        }
        with going(commands, environment, folder) as processes:
            answers(port)
            yield environment, processes, port


@contextmanager
def quickstart(folder: Path, options: argparse.Namespace) -> Iterator[Stand]:
    """The README's first command: one process on SQLite."""
    port = servers.free_port()
    data = folder / "data"
    environment = surroundings(folder, f"sqlite:///{data / 'wearlog.sqlite3'}")
    kept = options.keep / "wearlog.sqlite3" if options.keep else None
    if kept and kept.exists():
        shutil.copy(kept, data / "wearlog.sqlite3")
    else:
        build(environment, options)
        if kept:
            kept.parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(data / "wearlog.sqlite3", kept)
    command = [sys.executable, "manage.py", "quickstart", "--no-demo", f"--port={port}"]
    with going({"quickstart": command}, environment, folder) as processes:
        answers(port)
        yield environment, processes, port


@contextmanager
def going(
    commands: dict[str, list[str]], environment: dict[str, str], folder: Path
) -> Iterator[dict[str, subprocess.Popen[bytes]]]:
    processes = {
        name: start(command, environment, folder / f"{name}.log") for name, command in commands.items()
    }
    try:
        yield processes
        for name, process in processes.items():
            assert process.poll() is None, (folder / f"{name}.log").read_text()[-3000:]
    finally:
        end(*processes.values())


def answers(port: int) -> None:
    """Wait until the site answers."""
    from urllib.error import URLError
    from urllib.request import urlopen

    for _ in range(240):
        try:
            urlopen(f"http://127.0.0.1:{port}/healthz", timeout=5).read()
            return
        except (URLError, OSError):
            time.sleep(0.5)
    raise RuntimeError("the site did not answer within two minutes")


def load(folder: Path, port: int, options: argparse.Namespace, taken: Path) -> None:
    command = [
        *(sys.executable, "-m", "locust", "-f", str(ROOT / "tests" / "load" / "people.py"), "--headless"),
        *("--host", f"http://127.0.0.1:{port}", "-u", str(options.people)),
        *("-r", str(options.people / min(options.between, 30.0)), "-t", f"{int(options.minutes * 60)}s"),
        *("--csv", str(folder / "acts"), "--only-summary", "--stop-timeout", "30"),
    ]
    environment = os.environ | {
        "WEARLOG_LOAD_PLAN": str(folder / "plan.json"),
        "WEARLOG_LOAD_TAKEN": str(taken),
    }
    done = subprocess.run(command, cwd=folder, env=environment, capture_output=True, text=True)
    failures = folder / "acts_failures.csv"
    if failures.exists():
        print(failures.read_text())
    if not (folder / "acts_stats.csv").exists():  # it ends with 1, too, where an act failed
        raise RuntimeError(done.stderr[-3000:])


def report(path: Path) -> str:
    """A line for each kind of act: how often, failures, median and 95th percentile in ms, ratios to the two
    pages beside."""
    with path.open() as file:
        rows = {row["Name"]: row for row in csv.DictReader(file)}
    beside = [
        float(rows[name]["95%"]) for name in ("beside: trivial view", "beside: table page") if name in rows
    ]
    lines = [f"{'act':26s} {'times':>6s} {'failed':>6s} {'median':>7s} {'95 %':>7s}  95 % to trivial, table"]
    for name, row in sorted(rows.items()):
        high = float(row["95%"] or 0)
        ratios = ", ".join(f"{high / one:.1f}" for one in beside if one)
        lines.append(
            f"{name:26s} {row['Request Count']:>6s} {row['Failure Count']:>6s} "
            f"{row['50%']:>7s} {row['95%']:>7s}  {ratios}"
        )
    return "\n".join(lines)


def memory(pid: int) -> float:
    """Memory of a process and its children in MB, shared pages divided among them."""
    pids = [pid]
    for one in pids:
        with_children = Path(f"/proc/{one}/task/{one}/children")
        if with_children.exists():
            pids += [int(child) for child in with_children.read_text().split()]
    total = 0
    for one in pids:
        rollup = Path(f"/proc/{one}/smaps_rollup")
        if rollup.exists():
            total += next(
                int(line.split()[1]) for line in rollup.read_text().splitlines() if line.startswith("Pss:")
            )
    return total / 1024


if __name__ == "__main__":
    main()
