"""Database-level rule: an isolation that has ended has no lock that is recorded as being on."""

from __future__ import annotations

from wearlog.people.guards import Guard, Trigger

ISOLATIONS, LOCKS = "lockout_isolation", "lockout_lock"
PROMISE = "an isolation ends when no lock is recorded as being on"

ENDS = (
    "NEW.ended_at IS NOT NULL AND EXISTS (SELECT 1 FROM lockout_lock l "
    "WHERE l.isolation_id = NEW.id AND l.off_at IS NULL AND l.voided_at IS NULL)"
)
OVER = (
    "NEW.off_at IS NULL AND NEW.voided_at IS NULL AND EXISTS (SELECT 1 FROM lockout_isolation i "
    "WHERE i.id = NEW.isolation_id AND i.ended_at IS NOT NULL)"
)


def _sqlite(name: str, table: str, event: str, when: str) -> Trigger:
    return Trigger(
        "sqlite",
        table,
        name,
        f"CREATE TRIGGER {name} BEFORE {event} ON {table} WHEN {when} "
        f"BEGIN SELECT RAISE(ABORT, '{PROMISE}'); END",
    )


def _postgresql(name: str, table: str, event: str, when: str) -> Trigger:
    function = f"wearlog_{name}"
    return Trigger(
        "postgresql",
        table,
        name,
        f"CREATE TRIGGER {name} BEFORE {event} ON {table} FOR EACH ROW EXECUTE FUNCTION {function}()",
        function=f"""CREATE OR REPLACE FUNCTION {function}() RETURNS trigger
LANGUAGE plpgsql AS $$ BEGIN
  IF {when} THEN
    RAISE EXCEPTION '{PROMISE}' USING ERRCODE = 'integrity_constraint_violation';
  END IF;
  RETURN NEW;
END $$""",
    )


GUARDS: tuple[Guard, ...] = (
    _sqlite("isolation_ends_without_locks", ISOLATIONS, "UPDATE OF ended_at", ENDS),
    _sqlite("lock_on_open_isolation_insert", LOCKS, "INSERT", OVER),
    _sqlite("lock_on_open_isolation_update", LOCKS, "UPDATE OF isolation_id, off_at, voided_at", OVER),
    _postgresql("isolation_ends_without_locks", ISOLATIONS, "UPDATE OF ended_at", ENDS),
    _postgresql("lock_on_open_isolation", LOCKS, "INSERT OR UPDATE OF isolation_id, off_at, voided_at", OVER),
)
