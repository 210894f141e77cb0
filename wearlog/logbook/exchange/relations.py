"""Checks between rows: edges exist on the part, barrels on the press, dates are in order, nothing
overlaps."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime, tzinfo
from decimal import Decimal
from itertools import groupby

from django.db.models import Q
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from wearlog.equipment.models import EDGES, Fitting, Part, PartOrder, PartType, Position
from wearlog.logbook.exchange.cells import listed
from wearlog.logbook.exchange.columns import INSTANT
from wearlog.logbook.exchange.overlaps import FOR_EVER, Stretch, overlapping
from wearlog.logbook.exchange.problems import BadRow
from wearlog.logbook.exchange.references import in_batches
from wearlog.logbook.exchange.resulting import ResultingRows
from wearlog.logbook.exchange.typed import typed, typed_or_none
from wearlog.runs.models import Crop, Run

Tables = dict[str, ResultingRows]
Placed = tuple[int | None, str, datetime, datetime | None, tuple[int, ...]]
"""A run: its row (None where it is stored), ref, start, end, and the numbers of the barrels it occupies."""

BARREL, CROP, EDGE, REF = typed("barrel", str), typed("crop", str), typed("edge", str), typed("ref", str)
PART, PART_OR_NONE = typed("part", str), typed_or_none("part", str)
POSITION, PRESS, PRESS_OR_NONE = typed("position", str), typed("press", str), typed_or_none("press", str)
PART_TYPE, MADE_FROM = typed("part_type", str), typed_or_none("made_from", str)
STARTED, ENDED = typed("started_at", datetime), typed_or_none("ended_at", datetime)
HOURS, THROUGH = typed_or_none("hours_h", Decimal), typed("through", str)
CAME_WITH, ARRIVED = typed_or_none("came_with", str), typed_or_none("arrived_on", date)
FITTED, REMOVED = typed("fitted_at", datetime), typed_or_none("removed_at", datetime)
IN_ORDER = (
    (
        "fittings",
        typed("fitted_at", date),
        typed_or_none("removed_at", date),
        False,
        gettext_lazy("a part comes off after it was fitted"),
    ),
    (
        "runs",
        typed("started_at", date),
        typed_or_none("ended_at", date),
        True,
        gettext_lazy("a run ends after it started"),
    ),
    (
        "plan",
        typed("start_on", date),
        typed_or_none("end_on", date),
        True,
        gettext_lazy("a plan ends on its first day or later"),
    ),
    (
        "part_orders",
        typed("ordered_on", date),
        ARRIVED,
        True,
        gettext_lazy("what was ordered arrives on that day or later"),
    ),
)
"""Table, columns of the start and the end, whether the two may be equal, and the reason."""


def broken_relations(tables: Tables, zone: tzinfo) -> Iterator[BadRow]:
    yield from ends_before_starts(tables)
    yield from unlike_barrels(tables)
    yield from unknown_edges(tables)
    yield from unknown_crops(tables)
    yield from unknown_barrels(tables)
    yield from unknown_rule_positions(tables)
    yield from wrong_retirements(tables)
    yield from circles(tables)
    yield from unlike_orders(tables)
    yield from meeting_fittings(tables, zone)
    yield from meeting_runs(tables, zone)


def ends_before_starts(tables: Tables) -> Iterator[BadRow]:
    for name, first, last, same, reason in IN_ORDER:
        table = tables[name]
        for row, start, end in table.each(first, last):
            if end is not None and (end < start or (end == start and not same)):
                yield table.rows.spoilt(
                    row,
                    last.name,
                    _("%(reason)s: this is not after %(first)s.") % {"reason": reason, "first": first.name},
                )


def barrels_by_press(tables: Tables) -> dict[str, list[str]]:
    """The barrels of each press after the import, in order."""
    places = {
        (press, name): barrel
        for press, name, barrel in Position.objects.values_list("press__code", "name", "barrel")
    }
    for _row, press, name, barrel in tables["positions"].each(PRESS, POSITION, BARREL):
        places[press, name] = barrel
    barrels: dict[str, set[str]] = {}
    for (press, _name), barrel in places.items():
        if barrel:
            barrels.setdefault(press, set()).add(barrel)
    return {press: sorted(names) for press, names in barrels.items()}


def unlike_barrels(tables: Tables) -> Iterator[BadRow]:
    barrels = barrels_by_press(tables)
    table = tables["positions"]
    for row, press, barrel in table.each(PRESS, BARREL):
        if barrel.split() != ([barrel] if barrel else []):
            yield table.rows.wrong(row, "barrel", _("a barrel's name has no space, as in left."))
        elif barrel and len(barrels[press]) > 2:
            names = ", ".join(barrels[press])
            yield table.rows.wrong(
                row,
                "barrel",
                _("a press has one or two barrels, this one would have %(names)s.") % {"names": names},
            )


def edges_of_parts(tables: Tables, wanted: set[str]) -> dict[str, int]:
    """How many edges each wanted part has; parts whose type or edges can't be read are left out."""
    edges = dict(PartType.objects.values_list("code", "edges"))
    edges.update(
        {code: count for _rest, code, count in tables["part_types"].each(PART_TYPE, typed("edges", int))}
    )
    types_of = {code: part_type for _rest, code, part_type in tables["parts"].each(PART, PART_TYPE)}
    unreadable = set(tables["parts"].rows.column("part")) - types_of.keys()
    for batch in in_batches(wanted - types_of.keys() - unreadable):
        types_of.update(Part.objects.filter(code__in=batch).values_list("code", "part_type__code"))
    return {part: edges[types_of[part]] for part in wanted if part in types_of and types_of[part] in edges}


def unknown_edges(tables: Tables) -> Iterator[BadRow]:
    """Problems of edges that the part does not have. Fittings and gauges must name an edge; a service may be
    on the whole part."""
    names = ("fittings", "measurements", "services")
    wanted = {part for name in names for _rest, part in tables[name].each(PART_OR_NONE) if part}
    counts = edges_of_parts(tables, wanted)
    for name in names:
        table = tables[name]
        for row, part, edge in table.each(PART_OR_NONE, EDGE):
            if part not in counts:
                if edge and not part:
                    yield table.rows.wrong(row, "edge", _("an edge belongs to a part: name the part too."))
                continue
            allowed = EDGES[: counts[part]] if counts[part] > 1 else ()
            if edge and edge not in allowed:
                reason = (
                    _("write %(names)s") % {"names": listed(allowed)}
                    if allowed
                    else _("it has one edge: leave the cell empty")
                )
                yield table.rows.wrong(
                    row,
                    "edge",
                    _('part "%(part)s" has no edge %(edge)s; %(reason)s.')
                    % {"part": part, "edge": edge, "reason": reason},
                )
            elif not edge and allowed and name != "services":
                yield table.rows.wrong(
                    row,
                    "edge",
                    _('part "%(part)s" has %(count)s edges: say which one.')
                    % {"part": part, "count": counts[part]},
                )


def unknown_crops(tables: Tables) -> Iterator[BadRow]:
    crops, table = tables["crops"], tables["part_types"]
    for row, crop in crops.each(CROP):
        if crop.split() != [crop]:
            yield crops.rows.wrong(row, "crop", _("a crop is a tag without spaces, as in winter-rape."))
    if "crop" in crops.rows.missing:
        return
    known = {*Crop.objects.values_list("code", flat=True), *crops.rows.column("crop")}
    for row, tags in table.each(typed("for_crops", str)):
        unknown = [tag for tag in tags.split() if tag not in known]
        if unknown:
            yield table.rows.wrong(
                row,
                "for_crops",
                _('there is no crop "%(unknown)s", neither in crops.csv nor stored here.')
                % {"unknown": unknown[0]},
            )


def unknown_barrels(tables: Tables) -> Iterator[BadRow]:
    table = tables["runs"]
    if not any(table.column("through")):
        return
    barrels = barrels_by_press(tables)
    for row, press, through in table.each(PRESS, THROUGH):
        names = through.split()
        unknown = [name for name in names if name not in barrels.get(press, ())]
        if unknown:
            yield table.rows.spoilt(
                row,
                "through",
                _('press "%(press)s" has no barrel "%(unknown)s".') % {"press": press, "unknown": unknown[0]},
            )
        elif len(set(names)) < len(names):
            yield table.rows.spoilt(row, "through", _("a barrel stands twice here."))


def unknown_rule_positions(tables: Tables) -> Iterator[BadRow]:
    table = tables["rules"]
    if not any(table.column("position")):
        return
    positions = set(Position.objects.values_list("press__code", "name"))
    positions |= {(press, name) for _rest, press, name in tables["positions"].each(PRESS, POSITION)}
    anywhere = {name for _rest, name in positions} | set(tables["positions"].rows.column("position"))
    for row, press, name in table.each(PRESS_OR_NONE, POSITION):
        if name and press is not None and (press, name) not in positions:
            yield table.rows.wrong(
                row, "position", _('press "%(press)s" has no position of this name.') % {"press": press}
            )
        elif name and name not in anywhere:
            yield table.rows.wrong(row, "position", _("no press has a position of this name."))


def wrong_retirements(tables: Tables) -> Iterator[BadRow]:
    table = tables["parts"]
    for row, on, because in table.each(typed_or_none("retired_on", date), typed("retired_because", str)):
        if because and on is None:
            yield table.rows.wrong(row, "retired_because", _("a retired part needs its day in retired_on."))


def circles(tables: Tables) -> Iterator[BadRow]:
    """Parts that were made from themselves, directly or through others."""
    table = tables["parts"]
    if not any(table.column("made_from")):
        return
    sources: dict[str, str | None] = dict(
        Part.objects.exclude(made_from=None).values_list("code", "made_from__code")
    )
    sources.update({part: source for _rest, part, source in table.each(PART, MADE_FROM)})
    for row, part, source in table.each(PART, MADE_FROM):
        seen: set[str] = set()
        while source is not None and source not in seen and source != part:
            seen.add(source)
            source = sources.get(source)
        if source == part:
            yield table.rows.wrong(row, "made_from", _("a part can't be made from itself, nor in a circle."))


def unlike_orders(tables: Tables) -> Iterator[BadRow]:
    """Parts that are said to have come with an order for another type, or with one that has not arrived."""
    parts, orders = tables["parts"], list(tables["part_orders"].each(REF, PART_TYPE, ARRIVED))
    said = list(parts.each(PART, CAME_WITH, PART_TYPE)) if any(parts.column("came_with")) else []
    if not said and not orders:
        return
    known: dict[str, tuple[str, date | None]] = {
        ref: (part_type, arrived)
        for ref, part_type, arrived in PartOrder.objects.values_list("ref", "part_type__code", "arrived_on")
    }
    known.update({ref: (part_type, arrived) for _row, ref, part_type, arrived in orders})
    for row, _part, order, part_type in said:
        if order is None or order not in known:
            continue
        ordered, arrived = known[order]
        if ordered != part_type:
            reason = _('with this order came parts of the type "%(type)s".') % {"type": ordered}
            yield parts.rows.wrong(row, "came_with", reason)
        elif arrived is None:
            yield parts.rows.wrong(
                row, "came_with", _("this order has not arrived: its arrived_on is empty.")
            )
    elsewhere = {part for _row, part, _order, _type in said}
    came = Part.objects.exclude(came_with=None).values_list("came_with__ref", "code", "part_type__code")
    stored = {ref: (part, type_) for ref, part, type_ in came if part not in elsewhere}
    for row, ref, part_type, arrived in orders:
        part, type_ = stored.get(ref, ("", part_type))
        if part and (arrived is None or type_ != part_type):
            reason = _('part "%(part)s" came with this order and is stored here.') % {"part": part}
            column = "arrived_on" if arrived is None else "part_type"
            yield tables["part_orders"].rows.wrong(row, column, reason)


def meeting_fittings(tables: Tables, zone: tzinfo) -> Iterator[BadRow]:
    table = tables["fittings"]
    found = list(table.each(PART, PRESS, POSITION, FITTED, REMOVED))
    if not found:
        return
    mine = {(part, start) for _row, part, _press, _position, start, _end in found}
    mine |= {(part, start) for _rest, part, start in table.rows.each(PART, FITTED)}
    stored = [
        (None, *values)
        for values in Fitting.objects.not_voided().values_list(
            "part__code", "position__press__code", "position__name", "fitted_at", "removed_at"
        )
        if (values[0], values[3]) not in mine
    ]
    for rule, place in (
        (_("a position holds one part at a time"), slice(2, 4)),
        (_("a part sits in one place at a time"), slice(1, 2)),
    ):
        stretches = [
            Stretch(
                each[place],
                each[4],
                each[5] or FOR_EVER,
                each[0],
                _('part "%(part)s" on %(press)s %(position)s')
                % {"part": each[1], "press": each[2], "position": each[3]},
            )
            for each in (*found, *stored)
        ]
        for row, other in overlapping(stretches):
            yield table.rows.wrong(
                row,
                "fitted_at",
                _("%(rule)s: this overlaps %(other)s.")
                % {"rule": rule, "other": described(other, table, zone)},
            )


def meeting_runs(tables: Tables, zone: tzinfo) -> Iterator[BadRow]:
    table = tables["runs"]
    barrels = barrels_by_press(tables)
    refs = set(table.rows.column("ref"))
    found = table.each(PRESS, REF, STARTED, ENDED, HOURS, THROUGH, among=table.ordered_by(PRESS))
    for press, rows in groupby(found, key=lambda each: each[1]):
        names = barrels.get(press, [])
        runs: list[Placed] = [
            (row, ref, start, Run.end_of(start, end, hours), slots(through, names))
            for row, _press, ref, start, end, hours, through in rows
        ]
        runs.extend(stored_runs(runs, refs, press, names))
        stretches = [
            Stretch(slot, start, end or FOR_EVER, row, f'run "{ref}"')
            for row, ref, start, end, taken in runs
            for slot in taken
        ]
        named: set[int] = set()
        for row, other in overlapping(stretches):
            if row not in named:
                named.add(row)
                reason = _("runs through one barrel never overlap: this one meets %(other)s.") % {
                    "other": described(other, table, zone)
                }
                yield table.rows.wrong(row, "started_at", reason)


def slots(through: str, barrels: list[str]) -> tuple[int, ...]:
    """The numbers of the barrels that a run occupies: 1 and 2, or only one of them."""
    slot = Run.slot_of(through, barrels) if through else 0
    return (slot,) if slot else (1, 2) if len(barrels) > 1 else (1,)


def stored_runs(runs: list[Placed], refs: set[object], press: str, barrels: list[str]) -> Iterator[Placed]:
    """The stored runs of the press that could overlap one of these, except those that are in the logbook
    too."""
    first = min(start for _row, _ref, start, _end, _slots in runs)
    last = max(end or FOR_EVER for _row, _ref, _start, end, _slots in runs)
    near = Run.objects.not_voided().filter(Q(ends_at__isnull=True) | Q(ends_at__gt=first), press__code=press)
    if last != FOR_EVER:
        near = near.filter(started_at__lt=last)
    for ref, start, end, through in near.values_list("ref", "started_at", "ends_at", "through"):
        if ref not in refs:
            yield None, ref, start, end, slots(through, barrels)


def described(other: Stretch, table: ResultingRows, zone: tzinfo) -> str:
    """The other stretch in words, with its line and its time."""
    where = (
        _("stored here") if other.row is None else _("line %(line)s") % {"line": table.rows.lines[other.row]}
    )
    until = (
        _("still going on")
        if other.end == FOR_EVER
        else _("to %(end)s") % {"end": INSTANT.write(other.end, zone)}
    )
    return f"{other.name} ({where}, {INSTANT.write(other.start, zone)} {until})"
