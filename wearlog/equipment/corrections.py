"""Correcting when and where a part was fitted, and undoing a move.

A move is all fittings that ended or began at one instant and share a position or a part: both halves of a
flip or a replacement, all four of a swap. Its instant is changed for all of them together, so that a
correction leaves neither a gap nor an overlap, and undoing it joins the fittings before and after it again.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction
from django.db.models import Q
from django.utils.translation import gettext as _

from wearlog.equipment import actions as moves
from wearlog.equipment.models import Fitting, Part
from wearlog.people import audit
from wearlog.people.cleaning import clean
from wearlog.people.models import User
from wearlog.people.refusals import Refused
from wearlog.people.words import day, day_of, when


@dataclass(frozen=True)
class Move:
    """The fittings that ended and those that began at one instant."""

    at: datetime
    ended: tuple[Fitting, ...]
    begun: tuple[Fitting, ...]


def move_of(fitting: Fitting, instant: datetime) -> Move:
    """The move at that instant to which the fitting belongs."""
    positions, parts = {fitting.position_id}, {fitting.part_id}
    while True:
        touched = (
            Fitting.objects.not_voided()
            .select_related("part__part_type", "position__press")
            .filter(Q(position__in=positions) | Q(part__in=parts))
            .order_by("pk")
        )
        ended = tuple(touched.filter(removed_at=instant))
        begun = tuple(touched.filter(fitted_at=instant))
        more_positions = {each.position_id for each in (*ended, *begun)} - positions
        more_parts = {each.part_id for each in (*ended, *begun)} - parts
        if not more_positions and not more_parts:
            return Move(instant, ended, begun)
        positions |= more_positions
        parts |= more_parts


@transaction.atomic
def correct_fitting(
    *, by: User | None, at: datetime, fitting: Fitting, changes: Mapping[str, object], reason: str
) -> Fitting:
    """Change part, edge, position or the instants of a fitting. A changed instant also changes the other half
    of the flip, replacement or swap. Raises Refused where a part would be in two places at once."""
    fitting = _locked_with_neighbours(fitting)
    wanted = {fitting.pk: fitting}
    old_fitted, old_removed = fitting.fitted_at, fitting.removed_at
    before = _snapshots((fitting,))
    neighbours: list[tuple[Fitting, str]] = []
    if "fitted_at" in changes and changes["fitted_at"] != old_fitted:
        move = move_of(fitting, old_fitted)
        neighbours += [(each, "removed_at") for each in move.ended]
        neighbours += [(each, "fitted_at") for each in move.begun if each.pk != fitting.pk]
    if changes.get("removed_at", old_removed) != old_removed and old_removed is not None:
        move = move_of(fitting, old_removed)
        neighbours += [(each, "removed_at:end") for each in move.ended if each.pk != fitting.pk]
        neighbours += [(each, "fitted_at:end") for each in move.begun]
        if changes["removed_at"] is None and move.begun:
            raise Refused(
                _(
                    "At that moment %(part)s was fitted on %(position)s. Take that move back instead "
                    "of opening this end."
                )
                % {"part": move.begun[0].part, "position": move.begun[0].position},
                field="removed_at",
            )
    for name, value in changes.items():
        setattr(fitting, name, value)
    for each, what in neighbours:
        each = wanted.setdefault(each.pk, each)
        before.setdefault(each.pk, audit.snapshot(each))
        field, _rest, side = what.partition(":")
        setattr(each, field, fitting.removed_at if side else fitting.fitted_at)
    _check(list(wanted.values()), at=at)
    _store(by=by, at=at, fittings=list(wanted.values()), before=before, action="correct", reason=reason)
    if old_removed is not None and fitting.removed_at is not None:
        _follow_retirement(
            by=by, at=at, part=fitting.part, old=old_removed, new=fitting.removed_at, why=reason
        )
    return fitting


@transaction.atomic
def undo_move(*, by: User | None, at: datetime, fitting: Fitting, reason: str) -> list[Fitting]:
    """Undo the move that began the fitting. The fitting before it is continued up to the end of the one that
    is undone; a part that the move retired is in service again. Returns the continued fittings, none where
    the move ended none."""
    fitting = _locked_with_neighbours(fitting)
    if fitting.voided_at is not None:
        raise Refused(
            _("This move was already taken back%(by_whom)s.") % {"by_whom": audit.by_whom(fitting)},
            field="fitting",
        )
    move = move_of(fitting, fitting.fitted_at)
    if not move.ended:
        audit.strike_out(by=by, at=at, record=fitting, reason=reason)
        return []
    before = _snapshots((*move.ended, *move.begun))
    for each in move.ended:
        ends = {
            other.removed_at
            for other in move.begun
            if other.position_id == each.position_id or other.part_id == each.part_id
        }
        if len(ends) != 1:
            raise Refused(
                _("%(part)s or what took its place was moved again later. Take the later move back first.")
                % {"part": each.part},
                field="fitting",
            )
        each.removed_at = ends.pop()
    for each in move.begun:
        audit.strike_out(by=by, at=at, record=each, reason=reason)
    for each in move.ended:
        _back_in_service(by=by, at=at, part=each.part, moved_at=move.at, until=each.removed_at, why=reason)
    _check(list(move.ended), at=at)
    _store(by=by, at=at, fittings=list(move.ended), before=before, action="undo move", reason=reason)
    return list(move.ended)


# --- how it is stored -------------------------------------------------------------------------------


def _locked_with_neighbours(fitting: Fitting) -> Fitting:
    """Lock every position and part that is affected by the moves at the fitting's start and end; return the
    fitting as now stored."""
    instants = [each for each in (fitting.fitted_at, fitting.removed_at) if each is not None]
    touched = {fitting.pk}
    for instant in instants:
        move = move_of(fitting, instant)
        touched |= {each.pk for each in (*move.ended, *move.begun)}
    moves.locked_fittings(*sorted(touched))
    fresh: Fitting = Fitting.objects.select_related("part__part_type", "position__press").get(pk=fitting.pk)
    return fresh


def _snapshots(fittings: Sequence[Fitting]) -> dict[int, dict[str, object]]:
    return {each.pk: audit.snapshot(each) for each in fittings}


def _check(fittings: Sequence[Fitting], *, at: datetime) -> None:
    """Raise Refused for overlaps and other contradictions among these fittings and with all others."""
    keys = [each.pk for each in fittings]
    for each in fittings:
        if each.removed_at is not None and each.removed_at <= each.fitted_at:
            raise Refused(
                _(
                    "%(part)s would come off %(position)s on %(when)s, no later than it was fitted "
                    "(%(begun)s). Choose another moment."
                )
                % {
                    "part": each.part,
                    "position": each.position,
                    "when": when(each.removed_at),
                    "begun": when(each.fitted_at),
                },
                field="removed_at",
            )
        moves.not_in_the_future(each.fitted_at, at=at, field="fitted_at")
        if each.removed_at is not None:
            moves.not_in_the_future(each.removed_at, at=at, field="removed_at")
        _check_belonging(each)
        others = [
            *Fitting.objects.not_voided()
            .exclude(pk__in=keys)
            .overlapping(each.fitted_at, each.removed_at)
            .filter(Q(position=each.position_id) | Q(part=each.part_id))
            .select_related("part", "position__press")
            .order_by("fitted_at")[:1],
            *(other for other in fittings if other.pk != each.pk and _share_a_moment(each, other)),
        ]
        if others:
            other = others[0]
            until = (
                _(" to %(when)s") % {"when": when(other.removed_at)} if other.removed_at is not None else ""
            )
            raise Refused(
                _(
                    "%(part)s sat on %(position)s from %(when)s%(until)s, in the time you gave. "
                    "Change the times, or correct that fitting first."
                )
                % {
                    "part": other.part,
                    "position": other.position,
                    "when": when(other.fitted_at),
                    "until": until,
                },
                field="fitted_at",
            )


def _check_belonging(fitting: Fitting) -> None:
    if fitting.part.part_type.kind != fitting.position.kind:
        raise Refused(
            _("%(position)s takes a %(kind)s; %(part)s is a %(part_kind)s.")
            % {
                "position": fitting.position,
                "kind": fitting.position.get_kind_display(),
                "part": fitting.part,
                "part_kind": fitting.part.part_type.get_kind_display(),
            },
            field="part",
        )
    moves.edge_of(fitting.part, fitting.edge)
    if fitting.removed_at is None and fitting.part.retired_on is not None:
        raise Refused(
            _("%(part)s was retired on %(retired_on)s and can't sit on a press. Take that back first.")
            % {"part": fitting.part, "retired_on": day(fitting.part.retired_on)},
            field="part",
        )


def _share_a_moment(one: Fitting, other: Fitting) -> bool:
    if one.position_id != other.position_id and one.part_id != other.part_id:
        return False
    first, second = sorted((one, other), key=lambda each: each.fitted_at)
    return first.removed_at is None or first.removed_at > second.fitted_at


def _store(
    *,
    by: User | None,
    at: datetime,
    fittings: Sequence[Fitting],
    before: Mapping[int, Mapping[str, object]],
    action: str,
    reason: str,
) -> None:
    # The database checks each row as it is saved, and would see the halves of a move overlap in between.
    # So they are voided first; each is checked when it is restored.
    Fitting.objects.filter(pk__in=[each.pk for each in fittings]).update(voided_at=at)
    for each in fittings:
        clean(each)
        each.save()
        audit.write(
            at=at,
            by=by,
            action=action,
            record=each,
            old=before[each.pk],
            new=audit.snapshot(each),
            reason=reason,
        )


def _follow_retirement(
    *, by: User | None, at: datetime, part: Part, old: datetime, new: datetime, why: str
) -> None:
    """Move the retirement of a part that was retired on the day it came off to the corrected day."""
    if part.retired_on != day_of(old) or part.retired_on == day_of(new):
        return
    before = audit.snapshot(part)
    part.retired_on = day_of(new)
    part.save(update_fields=["retired_on"])
    audit.write(at=at, by=by, action="correct", record=part, old=before, new=audit.snapshot(part), reason=why)


def _back_in_service(
    *, by: User | None, at: datetime, part: Part, moved_at: datetime, until: datetime | None, why: str
) -> None:
    """Undo a retirement that belonged to the move; one on another day had another reason and stays."""
    if part.retired_on is None or part.retired_on != day_of(moved_at):
        return
    if until is not None:
        _follow_retirement(by=by, at=at, part=part, old=moved_at, new=until, why=why)
        return
    before = audit.snapshot(part)
    part.retired_on, part.retired_because = None, ""
    part.save(update_fields=["retired_on", "retired_because"])
    audit.write(
        at=at, by=by, action="undo move", record=part, old=before, new=audit.snapshot(part), reason=why
    )
