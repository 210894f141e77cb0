"""Runs through the same barrel never overlap.

A run's slot is 0 for all barrels, 1 or 2 for one of two. A run of no length overlaps nothing.
"""

from __future__ import annotations

from string import Template

from wearlog.people.guards import Exclusion, Guard, Trigger

RUNS = "runs_run"
PROMISE = "run_one_per_barrel"

TRIGGER = Template(
    "CREATE TRIGGER $name BEFORE $event ON runs_run "
    "WHEN NEW.voided_at IS NULL AND (NEW.ends_at IS NULL OR NEW.ends_at > NEW.started_at) BEGIN "
    "$first $second $running END"
)
# Standing runs through one barrel don't overlap, so they end in the order in which they start: of those that
# end after the new one starts, only the first can be in the way. That is one step in the index on
# (press, ends_at), whatever the order in which runs are entered.
ENDED = Template(
    "SELECT RAISE(ABORT, 'run_one_per_barrel') WHERE NEW.slot IN (0, $barrel) AND (SELECT r.started_at "
    "FROM runs_run r WHERE r.press_id = NEW.press_id AND r.ends_at > NEW.started_at "
    "AND r.slot IN (0, $barrel) AND r.voided_at IS NULL AND r.ends_at > r.started_at $others "
    "ORDER BY r.ends_at LIMIT 1) < coalesce(NEW.ends_at, '9999-12-31');"
)
# The plus keeps SQLite from walking the index on (press, started_at), which matches every earlier run.
RUNNING = Template(
    "SELECT RAISE(ABORT, 'run_one_per_barrel') WHERE EXISTS (SELECT 1 FROM runs_run r "
    "WHERE r.press_id = NEW.press_id AND r.ends_at IS NULL AND r.voided_at IS NULL $others "
    "AND (r.slot = 0 OR NEW.slot = 0 OR r.slot = NEW.slot) "
    "AND +r.started_at < coalesce(NEW.ends_at, '9999-12-31'));"
)


def _trigger(name: str, event: str, others: str) -> Trigger:
    return Trigger(
        "sqlite",
        RUNS,
        name,
        TRIGGER.substitute(
            name=name,
            event=event,
            first=ENDED.substitute(barrel=1, others=others),
            second=ENDED.substitute(barrel=2, others=others),
            running=RUNNING.substitute(others=others),
        ),
    )


GUARDS: tuple[Guard, ...] = (
    # A row of the same ref is a matter of the unique key.
    _trigger("run_overlap_insert", "INSERT", "AND r.ref <> NEW.ref"),
    _trigger(
        "run_overlap_update",
        "UPDATE OF press_id, slot, started_at, ends_at, voided_at",
        "AND r.id <> OLD.id",
    ),
    Exclusion(
        RUNS,
        PROMISE,
        # Two numbers per press, one for each barrel; a run through both takes the range of both. A range
        # instead of `WITH =`, which would need the btree_gist extension. Time stands first: it tells more
        # runs apart than the press does.
        "USING gist (tstzrange(started_at, ends_at) WITH &&, "
        "int8range(press_id * 2 + CASE WHEN slot = 2 THEN 1 ELSE 0 END, "
        "press_id * 2 + CASE WHEN slot = 1 THEN 0 ELSE 1 END, '[]') WITH &&) WHERE (voided_at IS NULL)",
    ),
)
