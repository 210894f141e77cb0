"""Moving parts: fit, take off, flip, replace, swap.

A move ends one fitting and begins another at one instant.

Every move names the fitting that the person saw. When two phones move the same part at once, one succeeds and
the other gets `AlreadyMoved`, which says who moved the part, when and where to.
"""

from __future__ import annotations

from datetime import datetime, timedelta

from django.db import transaction
from django.utils.translation import gettext as _

from wearlog.equipment import queries, wording
from wearlog.equipment.models import Fitting, Part, Position, RetiredBecause
from wearlog.people import audit
from wearlog.people.models import User
from wearlog.people.refusals import AlreadyMoved, Refused
from wearlog.people.roles import Permission, require
from wearlog.people.words import day, day_of, when

CLOCKS_DIFFER = timedelta(minutes=10)
"""How far a phone's clock may be ahead before its entry counts as lying in the future."""


@transaction.atomic
def fit(
    *,
    by: User | None,
    at: datetime,
    part_id: int,
    edge: str,
    position_id: int,
    fitted_at: datetime,
    why: str = "fit",
) -> Fitting:
    """Fit a spare part on an empty position. `why` names the move in the audit trail.

    Raises AlreadyMoved where the position is taken or the part sits elsewhere, Refused where the part does
    not belong there.
    """
    require(by, Permission.LOG)
    position = locked_position(position_id)
    part = locked_parts(part_id)[0]
    not_in_the_future(fitted_at, at=at, field="fitted_at")
    belongs(part, position, fitted_at=fitted_at)
    edge = edge_of(part, edge)
    taken = Fitting.objects.not_voided().filter(position=position).overlapping(fitted_at, None).first()
    if taken is not None:
        raise AlreadyMoved(wording.occupied_words(taken, fitted_at), field="position")
    elsewhere = Fitting.objects.not_voided().filter(part=part).overlapping(fitted_at, None).first()
    if elsewhere is not None:
        raise AlreadyMoved(wording.fitted_elsewhere_words(elsewhere, fitted_at), field="part")
    return begin(by=by, at=at, part=part, edge=edge, position=position, fitted_at=fitted_at, why=why)


@transaction.atomic
def take_off(
    *,
    by: User | None,
    at: datetime,
    expected_fitting_id: int,
    removed_at: datetime,
    retired_because: str = "",
) -> Fitting:
    """End a fitting; the part goes to the shelf, or out of service where `retired_because` says why. Returns
    the fitting that ended."""
    require(by, Permission.LOG)
    fitting = locked_fitting(expected_fitting_id)
    not_in_the_future(removed_at, at=at, field="removed_at")
    end(by=by, at=at, fitting=fitting, moved_at=removed_at, why="take off")
    if retired_because:
        retire(by=by, at=at, part=fitting.part, removed_at=removed_at, because=retired_because)
    return fitting


@transaction.atomic
def flip(
    *, by: User | None, at: datetime, expected_fitting_id: int, moved_at: datetime, to_edge: str = ""
) -> Fitting:
    """Turn a part to another of its edges where it sits. Without `to_edge`: to the next unused edge.
    Returns the fitting that began."""
    require(by, Permission.LOG)
    fitting = locked_fitting(expected_fitting_id)
    not_in_the_future(moved_at, at=at, field="moved_at")
    if fitting.part.part_type.edges < 2:
        raise Refused(
            _("%(part)s has one edge and can't be flipped. Replace it, or correct its part type.")
            % {"part": fitting.part},
            field="action",
        )
    refuse_already_moved(fitting, moved_at)
    edge = edge_of(fitting.part, to_edge or queries.next_edge(fitting))
    if edge == fitting.edge:
        raise Refused(
            _("%(part)s is on edge %(edge)s already. Choose another edge.")
            % {"part": fitting.part, "edge": edge},
            field="to_edge",
        )
    end(by=by, at=at, fitting=fitting, moved_at=moved_at, why="flip")
    return begin(
        by=by,
        at=at,
        part=fitting.part,
        edge=edge,
        position=fitting.position,
        fitted_at=moved_at,
        why="flip",
    )


@transaction.atomic
def replace(
    *,
    by: User | None,
    at: datetime,
    position_id: int,
    expected_fitting_id: int | None,
    new_part_id: int,
    new_edge: str,
    moved_at: datetime,
    old_part_retired_because: str = "",
) -> Fitting:
    """Take off what sits on a position and fit another part there.

    `expected_fitting_id` None: the position was empty. Returns the fitting that began."""
    require(by, Permission.LOG)
    if expected_fitting_id is None:
        return fit(
            by=by,
            at=at,
            part_id=new_part_id,
            edge=new_edge,
            position_id=position_id,
            fitted_at=moved_at,
            why="replace",
        )
    fitting = locked_fitting(expected_fitting_id, new_part_id)
    if fitting.position_id != position_id:
        raise Refused(
            _(
                "%(part)s sits on %(position)s, not on the position you named. Open the press "
                "page again and choose the position there."
            )
            % {"part": fitting.part, "position": fitting.position},
            field="position",
        )
    not_in_the_future(moved_at, at=at, field="moved_at")
    if fitting.part_id == new_part_id:
        raise Refused(
            _("%(part)s is the part that sits there. Choose the part that goes on, or log a flip.")
            % {"part": fitting.part},
            field="new_part",
        )
    end(by=by, at=at, fitting=fitting, moved_at=moved_at, why="replace")
    if old_part_retired_because:
        retire(by=by, at=at, part=fitting.part, removed_at=moved_at, because=old_part_retired_because)
    return fit(
        by=by,
        at=at,
        part_id=new_part_id,
        edge=new_edge,
        position_id=position_id,
        fitted_at=moved_at,
        why="replace",
    )


@transaction.atomic
def swap(
    *, by: User | None, at: datetime, first_fitting_id: int, second_fitting_id: int, moved_at: datetime
) -> tuple[Fitting, Fitting]:
    """Let two fitted parts change places, each on the edge it had. Returns the two new fittings,
    that of the first part first."""
    require(by, Permission.LOG)
    if first_fitting_id == second_fitting_id:
        raise Refused(_("A part can't change places with itself. Choose two parts."), field="second")
    first, second = locked_fittings(first_fitting_id, second_fitting_id)
    not_in_the_future(moved_at, at=at, field="moved_at")
    belongs(first.part, second.position, fitted_at=moved_at)
    belongs(second.part, first.position, fitted_at=moved_at)
    end(by=by, at=at, fitting=first, moved_at=moved_at, why="swap")
    end(by=by, at=at, fitting=second, moved_at=moved_at, why="swap")
    return (
        begin(
            by=by,
            at=at,
            part=first.part,
            edge=first.edge,
            position=second.position,
            fitted_at=moved_at,
            why="swap",
        ),
        begin(
            by=by,
            at=at,
            part=second.part,
            edge=second.edge,
            position=first.position,
            fitted_at=moved_at,
            why="swap",
        ),
    )


# --- locks ------------------------------------------------------------------------------------------
# Positions are locked before parts and each by ascending key, so that two moves never wait for each other
# in a cycle (deadlock). On SQLite the transaction holds the one write lock from its beginning.


def locked_position(position_id: int) -> Position:
    position = (
        Position.objects.select_for_update(of=("self",))
        .select_related("press")
        .filter(pk=position_id)
        .first()
    )
    if position is None:
        raise Refused(_("There is no such position. Open the press page again."), field="position")
    return position


def locked_parts(*part_ids: int) -> list[Part]:
    """Lock and return the parts, in the order of the arguments."""
    found = {
        part.pk: part
        for part in Part.objects.select_for_update(of=("self",))
        .select_related("part_type")
        .filter(pk__in=part_ids)
        .order_by("pk")
    }
    if set(part_ids) - set(found):
        raise Refused(_("There is no such part. Open the parts page again."), field="part")
    return [found[part_id] for part_id in part_ids]


def locked_fittings(*fitting_ids: int, also_parts: tuple[int, ...] = ()) -> list[Fitting]:
    """The fittings in the order of the arguments, read after their positions and parts were locked."""
    rows = {
        pk: (position_id, part_id)
        for pk, position_id, part_id in Fitting.objects.filter(pk__in=fitting_ids).values_list(
            "pk", "position_id", "part_id"
        )
    }
    if set(fitting_ids) - set(rows):
        raise Refused(_("There is no such fitting. Open the press page again."), field="fitting")
    for position_id in sorted({position_id for position_id, _rest in rows.values()}):
        locked_position(position_id)
    locked_parts(*sorted({part_id for _rest, part_id in rows.values()} | set(also_parts)))
    fresh = {
        fitting.pk: fitting
        for fitting in Fitting.objects.select_related("part__part_type", "position__press").filter(
            pk__in=fitting_ids
        )
    }
    return [fresh[fitting_id] for fitting_id in fitting_ids]


def locked_fitting(fitting_id: int, *also_parts: int) -> Fitting:
    return locked_fittings(fitting_id, also_parts=also_parts)[0]


# --- the two halves of a move -----------------------------------------------------------------------


def end(*, by: User | None, at: datetime, fitting: Fitting, moved_at: datetime, why: str) -> None:
    """End an open fitting, or raise AlreadyMoved. The conditional UPDATE decides a race."""
    refuse_already_moved(fitting, moved_at)
    if moved_at <= fitting.fitted_at:
        raise Refused(
            _(
                "%(part)s was fitted on %(position)s only on %(when)s. Give a later moment, or "
                "correct when it was fitted."
            )
            % {"part": fitting.part, "position": fitting.position, "when": when(fitting.fitted_at)},
            field="moved_at",
        )
    old = audit.snapshot(fitting)
    ended = Fitting.objects.filter(pk=fitting.pk, removed_at__isnull=True, voided_at__isnull=True).update(
        removed_at=moved_at
    )
    if not ended:
        fitting.refresh_from_db()
        raise AlreadyMoved(wording.who_moved(fitting), field="fitting")
    fitting.removed_at = moved_at
    audit.write(at=at, by=by, action=why, record=fitting, old=old, new=audit.snapshot(fitting))


def begin(
    *,
    by: User | None,
    at: datetime,
    part: Part,
    edge: str,
    position: Position,
    fitted_at: datetime,
    why: str,
) -> Fitting:
    fitting = Fitting.objects.create(
        part=part, edge=edge, position=position, fitted_at=fitted_at, entered_at=at, entered_by=by
    )
    audit.write(at=at, by=by, action=why, record=fitting, new=audit.snapshot(fitting))
    return fitting


def retire(*, by: User | None, at: datetime, part: Part, removed_at: datetime, because: str) -> None:
    """Take a part out of service on the day it came off."""
    if because not in RetiredBecause.values:
        raise Refused(
            _("%(because)s is no reason to retire a part. Choose one of %(names)s.")
            % {"because": repr(because), "names": ", ".join(RetiredBecause.values)},
            field="retired_because",
        )
    old = audit.snapshot(part)
    part.retired_on = day_of(removed_at)
    part.retired_because = because
    part.save(update_fields=["retired_on", "retired_because"])
    audit.write(at=at, by=by, action="retire", record=part, old=old, new=audit.snapshot(part))


# --- what is checked ---------------------------------------------------------------------------------


def not_in_the_future(instant: datetime, *, at: datetime, field: str) -> None:
    if instant > at + CLOCKS_DIFFER:
        raise Refused(
            _("%(when)s lies ahead. A move is logged once it is done: check day and clock.")
            % {"when": when(instant)},
            field=field,
        )


def edge_of(part: Part, edge: str) -> str:
    names = part.part_type.edge_names
    if edge in names:
        return edge
    if names == ("",):
        raise Refused(_("%(part)s has one edge; leave the edge empty.") % {"part": part}, field="edge")
    raise Refused(
        _("%(part)s has the edges %(names)s. Choose one of them.")
        % {"part": part, "names": ", ".join(names)},
        field="edge",
    )


def belongs(part: Part, position: Position, *, fitted_at: datetime) -> None:
    if part.part_type.kind != position.kind:
        raise Refused(
            _("%(position)s takes a %(kind)s; %(part)s is a %(part_kind)s. Choose another part.")
            % {
                "position": position,
                "kind": position.get_kind_display(),
                "part": part,
                "part_kind": part.part_type.get_kind_display(),
            },
            field="part",
        )
    if part.retired_on is not None:
        raise Refused(
            _("%(part)s was retired on %(retired_on)s. Choose another part, or correct its record.")
            % {"part": part, "retired_on": day(part.retired_on)},
            field="part",
        )
    retired_on = position.press.retired_on
    if retired_on is not None and day_of(fitted_at) >= retired_on:
        raise Refused(
            _("%(press)s was retired on %(retired_on)s. Choose another press.")
            % {"press": position.press, "retired_on": day(retired_on)},
            field="press",
        )


def refuse_already_moved(fitting: Fitting, moved_at: datetime) -> None:
    if fitting.voided_at is not None:
        raise AlreadyMoved(wording.who_moved(fitting), field="fitting")
    if fitting.removed_at is None:
        return
    forgotten = (
        _(" If an earlier move was forgotten, take the later one back first, then log both in their order.")
        if fitting.fitted_at < moved_at < fitting.removed_at
        else ""
    )
    raise AlreadyMoved(wording.who_moved(fitting) + forgotten, field="fitting")
