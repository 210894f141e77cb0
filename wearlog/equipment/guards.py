"""Database-level rules: at any moment a position holds one part, and a part has one position."""

from __future__ import annotations

from string import Template

from wearlog.people.guards import Exclusion, Guard, Trigger

FITTINGS = "equipment_fitting"

TRIGGER = Template(
    "CREATE TRIGGER $name BEFORE $event ON equipment_fitting WHEN NEW.voided_at IS NULL BEGIN "
    "$position $part END"
)
OVERLAP = Template(
    "SELECT RAISE(ABORT, '$promise') WHERE EXISTS (SELECT 1 FROM equipment_fitting f "
    "WHERE f.$column = NEW.$column AND f.voided_at IS NULL $others "
    "AND f.fitted_at < coalesce(NEW.removed_at, '9999-12-31') "
    "AND coalesce(f.removed_at, '9999-12-31') > NEW.fitted_at);"
)
# A range that contains one key stands in for `WITH =`, which would need the btree_gist extension.
EXCLUDE = Template(
    "USING gist (int8range($column, $column, '[]') WITH &&, "
    "tstzrange(fitted_at, removed_at) WITH &&) WHERE (voided_at IS NULL)"
)
PROMISES = {"position": "fitting_one_part_per_position", "part": "fitting_one_place_per_part"}


def _trigger(name: str, event: str, others: str) -> Trigger:
    overlaps = {
        thing: OVERLAP.substitute(promise=promise, column=f"{thing}_id", others=others)
        for thing, promise in PROMISES.items()
    }
    return Trigger("sqlite", FITTINGS, name, TRIGGER.substitute(name=name, event=event, **overlaps))


GUARDS: tuple[Guard, ...] = (
    _trigger("fitting_overlap_insert", "INSERT", ""),
    _trigger(
        "fitting_overlap_update",
        "UPDATE OF position_id, part_id, fitted_at, removed_at, voided_at",
        "AND f.id <> OLD.id",
    ),
    *(
        Exclusion(FITTINGS, promise, EXCLUDE.substitute(column=f"{thing}_id"))
        for thing, promise in PROMISES.items()
    ),
)
