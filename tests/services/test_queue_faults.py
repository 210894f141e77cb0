"""F2, F3, F4 and F6 in small, on PostgreSQL and Redis, with schedulers and workers as real processes.

The full numbers: `python -m tests.soak.faults`.
"""

from __future__ import annotations

from pathlib import Path

from tests.services import queue_faults
from tests.services.processes import QUICK
from tests.services.servers import RedisServer


def test_two_schedulers_and_four_workers_send_exactly_one_mail_for_each_key(
    postgres_url: str, redis: RedisServer, tmp_path: Path
) -> None:
    found = queue_faults.many_schedulers(postgres_url, redis, tmp_path, presses=20, rules=5)
    assert (found.arrived, found.copies) == (100, 0)


def test_while_redis_is_flushed_and_away_people_log_runs_and_mail_leaves_after_its_return(
    postgres_url: str, redis: RedisServer, tmp_path: Path
) -> None:
    found = queue_faults.redis_away(
        postgres_url, redis, tmp_path, settings=QUICK, away=3, presses=20, rules=6
    )
    assert (found.arrived, found.copies) == (120, 0)
    assert max(found.took) < 300
    assert max(found.logging_took) < 15  # both pages of an entry, on a machine that does other things too


def test_a_worker_hears_again_after_each_restart_of_redis(
    postgres_url: str, redis: RedisServer, tmp_path: Path
) -> None:
    found = queue_faults.redis_restarts(postgres_url, redis, tmp_path, times=2, seed=4)
    # Within a minute is held at full size (`python -m tests.soak.faults F4`); here two are waited for.
    assert (found.arrived, found.copies) == (2, 0)


def test_a_worker_that_is_asked_to_end_is_gone_soon_and_what_it_had_left_leaves_by_another(
    postgres_url: str, redis: RedisServer, tmp_path: Path
) -> None:
    found = queue_faults.terminated(postgres_url, redis, tmp_path, presses=20, rules=5)
    assert (found.arrived, found.copies) == (100, 0)
    assert max(found.took) < 30


def test_a_stopped_scheduler_is_told_by_healthz_and_on_every_page_until_it_runs_again(
    postgres_url: str, redis: RedisServer, tmp_path: Path
) -> None:
    """F16; the five minutes are put into the schedule's memory."""
    found = queue_faults.scanner_stopped(postgres_url, redis, tmp_path, settings=QUICK, wait=False)
    assert max(found.took) < 30
