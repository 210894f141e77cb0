"""Database constraints that prevent runs through the same barrel from overlapping.

A run's slot is 0 for all barrels, 1 or 2 for one of two. A run without length overlaps nothing.
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
# Runs through one barrel that are not voided don't overlap, so they end in the order in which they start. Of
# those that end after the new one starts, only the first can overlap it. Finding it is one step in the index
# on (press, ends_at), whatever the order in which runs are entered.
ENDED = Template(
    "SELECT RAISE(ABORT, 'run_one_per_barrel') WHERE NEW.slot IN (0, $barrel) AND (SELECT r.started_at "
    "FROM runs_run r WHERE r.press_id = NEW.press_id AND r.ends_at > NEW.started_at "
    "AND r.slot IN (0, $barrel) AND r.voided_at IS NULL AND r.ends_at > r.started_at $others "
    "ORDER BY r.ends_at LIMIT 1) < coalesce(NEW.ends_at, '9999-12-31');"
)
# The plus sign keeps SQLite from using the index on (press, started_at), which matches every earlier run.
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
    # A row with the same ref is left to the unique constraint.
    _trigger("run_overlap_insert", "INSERT", "AND r.ref <> NEW.ref"),
    _trigger(
        "run_overlap_update",
        "UPDATE OF press_id, slot, started_at, ends_at, voided_at",
        "AND r.id <> OLD.id",
    ),
    Exclusion(
        RUNS,
        PROMISE,
        # Each press has two numbers, one for each barrel; a run through both uses the range of both. A range
        # is used instead of `WITH =`, which would need the btree_gist extension. Time comes first because it
        # separates more runs than the press does.
        "USING gist (tstzrange(started_at, ends_at) WITH &&, "
        "int8range(press_id * 2 + CASE WHEN slot = 2 THEN 1 ELSE 0 END, "
        "press_id * 2 + CASE WHEN slot = 1 THEN 0 ELSE 1 END, '[]') WITH &&) WHERE (voided_at IS NULL)",
    ),
)
