"""One part per position and moment, one place per part and moment."""

from __future__ import annotations

from wearlog.people.guards import Exclusion, Guard, Trigger

FITTINGS = "equipment_fitting"
FOREVER = "9999-12-31"


def _overlap(column: str, name: str, others: str) -> str:
    return (
        f"SELECT RAISE(ABORT, '{name}') WHERE EXISTS (SELECT 1 FROM {FITTINGS} f "
        f"WHERE f.{column} = NEW.{column} AND f.voided_at IS NULL {others}"
        f"AND f.fitted_at < coalesce(NEW.removed_at, '{FOREVER}') "
        f"AND coalesce(f.removed_at, '{FOREVER}') > NEW.fitted_at); "
    )


def _trigger(name: str, event: str, others: str = "") -> Trigger:
    return Trigger(
        "sqlite",
        FITTINGS,
        name,
        f"CREATE TRIGGER {name} BEFORE {event} ON {FITTINGS} WHEN NEW.voided_at IS NULL BEGIN "
        + _overlap("position_id", "fitting_one_part_per_position", others)
        + _overlap("part_id", "fitting_one_place_per_part", others)
        + "END",
    )


def _exclusion(column: str, name: str) -> Exclusion:
    # A range of one key instead of `WITH =`: that would need the btree_gist extension.
    return Exclusion(
        FITTINGS,
        name,
        f"USING gist (int8range({column}, {column}, '[]') WITH &&, "
        "tstzrange(fitted_at, removed_at) WITH &&) WHERE (voided_at IS NULL)",
    )


GUARDS: tuple[Guard, ...] = (
    _trigger("fitting_overlap_insert", "INSERT"),
    _trigger(
        "fitting_overlap_update",
        "UPDATE OF position_id, part_id, fitted_at, removed_at, voided_at",
        "AND f.id <> OLD.id ",
    ),
    _exclusion("position_id", "fitting_one_part_per_position"),
    _exclusion("part_id", "fitting_one_place_per_part"),
)
