"""Which presses a write to the log concerns, from the rows that it left in the audit trail.

An entry concerns its press. It also concerns every press on whose parts it bears: a part may have worked at
several presses, and what is due for it at one depends on what it did at the others. Where in doubt a press is
named: naming one too many costs time, leaving one out would leave a wrong date standing.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

from django.db.models import Q

from wearlog.equipment.models import Fitting, Position
from wearlog.history.versions import Change
from wearlog.people.models import AuditEntry
from wearlog.service.models import Measurement, Service
from wearlog.service.photos import ADD_PHOTO, DELETE_PHOTO
from wearlog.service.work import RENEWS, SHIFTS

WITHOUT_EFFECT = frozenset(
    {
        "cautionwording",
        "cropchange",
        "energysource",
        "isolation",
        "lock",
        "lothold",
        "partorder",
        "photo",
        "price",
        "releasestatement",
        "settleddoubt",
        "shiftnote",
        "user",
    }
)
"""Records that no due item and no figure of a press is computed from. (Cautions are put in as an item is
read.)"""
TABLES = {
    "part": "parts",
    "fitting": "fittings",
    "service": "services",
    "measurement": "measurements",
    "incident": "incidents",
}
"""By record: the table of which `LogVersion` counts the writes."""
NO_RUN = datetime(9999, 1, 1, tzinfo=UTC)
"""From when on runs were written where none was, but only readings."""
ASKED = frozenset({"rule", "planentry", "yearlylook"})
"""Records that say what is due and what is planned: they bear on the due items of every press, but neither on
its runs nor on what was learned."""
LEARNED_FROM = ("fitting", "measurement", "part")
"""Records that wear is learned from, besides some services, and runs where gauges or work came later."""


@dataclass
class _Written:
    """What a write's rows of the audit trail name."""

    runs_since: dict[int, datetime] = field(default_factory=dict)
    """By press: the earliest start of a run that was written."""
    readings_at: set[int] = field(default_factory=set)
    presses: set[int] = field(default_factory=set)
    positions: set[int] = field(default_factory=set)
    parts: set[int] = field(default_factory=set)
    tables: set[str] = field(default_factory=set)
    lessons: bool = False
    setup: bool = False


def change_of(rows: Iterable[AuditEntry]) -> Change | None:
    """What a write concerns; None: every press. At most six queries, and one more for each press with
    runs."""
    written = _Written()
    for row in rows:
        without_effect = row.record in WITHOUT_EFFECT or row.action in (ADD_PHOTO, DELETE_PHOTO)
        if not (without_effect or _is_a_bag(row)) and not _read(row, written):
            return None
    return _concerned(written)


def _is_a_bag(row: AuditEntry) -> bool:
    """Whether nothing but the weight of a crop's bags was changed, which only forms make use of."""
    if row.record != "crop" or row.old is None or row.new is None:
        return False
    return {name for name in row.new if row.new[name] != row.old.get(name)} <= {"bag_kg"}


def _read(row: AuditEntry, written: _Written) -> bool:
    """Add what the row names. False for a record that concerns every press."""
    for values in (row.old, row.new):
        if values is None:
            continue
        if row.record == "run":
            press_id, start = values["press_id"], datetime.fromisoformat(values["started_at"])
            written.runs_since[press_id] = min(start, written.runs_since.get(press_id, start))
        elif row.record == "reading":
            written.readings_at.add(values["press_id"])
        elif row.record == "fitting":
            written.positions.add(values["position_id"])
            written.parts.add(values["part_id"])
        elif row.record == "service":
            written.presses.add(values["press_id"])
            _add(written.parts, values, "part_id")
            _add(written.positions, values, "position_id")
            written.lessons = written.lessons or values["action"] in (*RENEWS, *SHIFTS)
        elif row.record == "measurement":
            written.parts.add(values["part_id"])
        elif row.record == "incident":
            written.presses.add(values["press_id"])
            _add(written.positions, values, "position_id")
        elif row.record == "part" and row.record_id is not None and _was_fitted(row.record_id):
            written.parts.add(row.record_id)
        elif row.record == "part" or row.record in ASKED:
            written.setup = True  # a part that was never fitted is one of the spares
        else:
            return False
        spare = row.record == "part" and row.record_id not in written.parts
        written.lessons = written.lessons or (row.record in LEARNED_FROM and not spare)
        if row.record in TABLES:
            written.tables.add(TABLES[row.record])
    return True


def _add(keys: set[int], values: Mapping[str, object], name: str) -> None:
    key = values.get(name)
    if isinstance(key, int):
        keys.add(key)


def _was_fitted(part_id: int) -> bool:
    return Fitting.objects.filter(part_id=part_id).exists()


def _concerned(written: _Written) -> Change:
    presses = set(written.presses)
    parts = set(written.parts)
    if written.positions:
        places = Position.objects.filter(pk__in=written.positions)
        presses.update(places.values_list("press_id", flat=True))
        # Work that names a position is about the part that sat there then.
        parts.update(
            Fitting.objects.filter(position_id__in=written.positions).values_list("part_id", flat=True)
        )
    if parts:
        presses |= _presses_of(Q(part_id__in=parts))
    runs = set(written.runs_since) | written.readings_at
    late = {press for press, start in written.runs_since.items() if _has_later_lessons(press, start)}
    beyond = late | written.readings_at
    items = presses | runs
    if beyond:
        items |= _presses_of(Q(part__fittings__position__press_id__in=beyond))
    return Change(
        runs=frozenset(runs),
        runs_from={press: written.runs_since.get(press, NO_RUN) for press in runs},
        items=frozenset(items),
        tables=frozenset(written.tables),
        lessons=written.lessons or bool(late),
        setup=written.setup,
    )


def _presses_of(fittings: Q) -> set[int]:
    """The presses where the parts of these fittings are or were, by all their fittings, voided ones too."""
    found = Fitting.objects.filter(fittings).values_list("position__press_id", flat=True)
    return set(found.order_by().distinct())


def _has_later_lessons(press_id: int, start: datetime) -> bool:
    """Whether a part that was at the press has been gauged, worked on or moved after an instant, so that a
    run which began then has a share in what was learned, or in the work of a part that is elsewhere now. So
    has a run from before the day on which a part's earlier work stood, since it is taken off that."""
    parts = Fitting.objects.filter(position__press_id=press_id)
    its_parts = parts.order_by().values("part_id")
    return (
        parts.filter(
            Q(removed_at__gt=start) | Q(part__used_on__gte=(start - timedelta(days=1)).date())
        ).exists()
        or Measurement.objects.filter(part_id__in=its_parts, measured_at__gt=start).exists()
        or Service.objects.filter(
            Q(part_id__in=its_parts) | Q(press_id=press_id),
            action__in=(*RENEWS, *SHIFTS),
            done_at__gt=start,
        ).exists()
    )
