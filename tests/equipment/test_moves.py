"""Fitting, taking off, flipping, replacing, swapping."""

from __future__ import annotations

import pytest

from tests.dates import at
from tests.mills.logbook_mill import NOW, SmallMill, message, small_mill, somebody
from wearlog.equipment import queries
from wearlog.equipment.models import Fitting
from wearlog.logbook import actions
from wearlog.people.models import AuditEntry, Role, User
from wearlog.people.refusals import AlreadyMoved, NotAllowed, Refused

__all__ = ["small_mill"]

MOVED = at("2026-03-09 10:00")


def flip(mill: SmallMill, fitting: Fitting, *, by: User | None = None, to_edge: str = "") -> Fitting:
    return actions.flip(
        by=by or mill.by, at=NOW, expected_fitting_id=fitting.pk, moved_at=MOVED, to_edge=to_edge
    )


def test_a_flip_ends_one_edge_and_begins_the_other_at_the_same_instant(small_mill: SmallMill) -> None:
    begun = flip(small_mill, small_mill.die_fitting)
    small_mill.die_fitting.refresh_from_db()
    assert (begun.edge, begun.fitted_at, begun.removed_at) == ("B", MOVED, None)
    assert (small_mill.die_fitting.edge, small_mill.die_fitting.removed_at) == ("A", MOVED)
    assert begun.position_id == small_mill.die_place.pk


def test_a_second_flip_of_the_same_die_is_told_who_flipped_it_when_and_to_what(small_mill: SmallMill) -> None:
    flip(small_mill, small_mill.die_fitting, by=somebody(Role.OPERATOR, "oskar"))
    with pytest.raises(AlreadyMoved) as caught:
        flip(small_mill, small_mill.die_fitting)
    # 10:00 UTC is 11:00 in Vienna in March.
    assert "D-1 was already flipped to edge B by Oskar on 9 March 2026, 11:00" in message(caught)
    assert Fitting.objects.not_voided().filter(part=small_mill.die).count() == 2


def test_a_flip_after_a_replacement_names_the_part_that_took_its_place(small_mill: SmallMill) -> None:
    actions.replace(
        by=small_mill.by,
        at=NOW,
        position_id=small_mill.die_place.pk,
        expected_fitting_id=small_mill.die_fitting.pk,
        new_part_id=small_mill.spare_die.pk,
        new_edge="A",
        moved_at=MOVED,
    )
    with pytest.raises(AlreadyMoved) as caught:
        flip(small_mill, small_mill.die_fitting)
    assert "D-1 was already replaced by D-2 on edge A by Olga" in message(caught)


def test_a_part_with_one_edge_is_not_flipped(small_mill: SmallMill) -> None:
    with pytest.raises(Refused) as caught:
        flip(small_mill, small_mill.screw_fitting)
    assert "has one edge and can't be flipped" in message(caught)


def test_a_flip_to_the_edge_at_work_is_refused(small_mill: SmallMill) -> None:
    with pytest.raises(Refused, match="on edge A already"):
        flip(small_mill, small_mill.die_fitting, to_edge="A")


def test_a_flip_before_the_part_was_fitted_is_refused(small_mill: SmallMill) -> None:
    with pytest.raises(Refused, match="was fitted on P1 · die only on 1 March 2026, 07:00"):
        actions.flip(
            by=small_mill.by,
            at=NOW,
            expected_fitting_id=small_mill.die_fitting.pk,
            moved_at=at("2026-03-01 06:00"),
        )


def test_a_move_that_lies_ahead_is_refused(small_mill: SmallMill) -> None:
    with pytest.raises(Refused, match="lies ahead"):
        actions.flip(
            by=small_mill.by,
            at=NOW,
            expected_fitting_id=small_mill.die_fitting.pk,
            moved_at=at("2026-03-10 18:11"),
        )


def test_a_replacement_retires_the_old_part_on_the_day_in_the_mills_zone(small_mill: SmallMill) -> None:
    begun = actions.replace(
        by=small_mill.by,
        at=NOW,
        position_id=small_mill.screw_place.pk,
        expected_fitting_id=small_mill.screw_fitting.pk,
        new_part_id=small_mill.spare_screw.pk,
        new_edge="",
        moved_at=at("2026-03-09 23:30"),  # 00:30 on the tenth in Vienna
        old_part_retired_because="worn",
    )
    small_mill.screw.refresh_from_db()
    assert small_mill.screw.retired_on is not None
    assert (small_mill.screw.retired_on.isoformat(), small_mill.screw.retired_because) == (
        "2026-03-10",
        "worn",
    )
    assert queries.fitting_on(small_mill.screw_place, at=NOW) == begun


def test_a_retired_part_is_not_fitted_again(small_mill: SmallMill) -> None:
    actions.take_off(
        by=small_mill.by,
        at=NOW,
        expected_fitting_id=small_mill.screw_fitting.pk,
        removed_at=MOVED,
        retired_because="broken",
    )
    with pytest.raises(Refused, match="S-1 was retired on 9 March 2026"):
        actions.fit(
            by=small_mill.by,
            at=NOW,
            part_id=small_mill.screw.pk,
            edge="",
            position_id=small_mill.screw_place.pk,
            fitted_at=NOW,
        )


def test_an_unknown_reason_to_retire_is_refused_and_nothing_moves(small_mill: SmallMill) -> None:
    with pytest.raises(Refused, match="no reason to retire"):
        actions.take_off(
            by=small_mill.by,
            at=NOW,
            expected_fitting_id=small_mill.screw_fitting.pk,
            removed_at=MOVED,
            retired_because="tired",
        )
    small_mill.screw_fitting.refresh_from_db()
    assert small_mill.screw_fitting.removed_at is None


def test_two_screws_change_places_between_presses(small_mill: SmallMill) -> None:
    first, second = actions.swap(
        by=small_mill.by,
        at=NOW,
        first_fitting_id=small_mill.screw_fitting.pk,
        second_fitting_id=small_mill.other_screw_fitting.pk,
        moved_at=MOVED,
    )
    assert (first.part, first.position) == (small_mill.screw, small_mill.other_screw_place)
    assert (second.part, second.position) == (small_mill.other_screw, small_mill.screw_place)
    assert Fitting.objects.open().filter(part__in=[small_mill.screw, small_mill.other_screw]).count() == 2


def test_parts_of_different_kinds_do_not_change_places(small_mill: SmallMill) -> None:
    with pytest.raises(Refused, match="takes a die; S-1 is a screw"):
        actions.swap(
            by=small_mill.by,
            at=NOW,
            first_fitting_id=small_mill.screw_fitting.pk,
            second_fitting_id=small_mill.die_fitting.pk,
            moved_at=MOVED,
        )


def test_a_part_that_was_taken_off_goes_back_on(small_mill: SmallMill) -> None:
    actions.take_off(
        by=small_mill.by, at=NOW, expected_fitting_id=small_mill.die_fitting.pk, removed_at=MOVED
    )
    assert small_mill.die in queries.spares_for(small_mill.die_place)
    again = actions.fit(
        by=small_mill.by,
        at=NOW,
        part_id=small_mill.die.pk,
        edge="A",
        position_id=small_mill.die_place.pk,
        fitted_at=at("2026-03-10 08:00"),
    )
    assert [each.pk for each in queries.history_of(small_mill.die)] == [small_mill.die_fitting.pk, again.pk]


def test_a_taken_position_takes_no_second_part(small_mill: SmallMill) -> None:
    with pytest.raises(AlreadyMoved, match="D-1 on edge A sits on P1 · die since"):
        actions.fit(
            by=small_mill.by,
            at=NOW,
            part_id=small_mill.spare_die.pk,
            edge="A",
            position_id=small_mill.die_place.pk,
            fitted_at=MOVED,
        )


def test_a_part_that_sits_elsewhere_does_not_replace(small_mill: SmallMill) -> None:
    with pytest.raises(AlreadyMoved, match="S-3 sits on P3 · screw since"):
        actions.replace(
            by=small_mill.by,
            at=NOW,
            position_id=small_mill.screw_place.pk,
            expected_fitting_id=small_mill.screw_fitting.pk,
            new_part_id=small_mill.other_screw.pk,
            new_edge="",
            moved_at=MOVED,
        )
    small_mill.screw_fitting.refresh_from_db()
    assert small_mill.screw_fitting.removed_at is None


def test_a_back_dated_fitting_into_occupied_time_is_refused(small_mill: SmallMill) -> None:
    with pytest.raises(AlreadyMoved, match="after the moment you gave"):
        actions.fit(
            by=small_mill.by,
            at=NOW,
            part_id=small_mill.spare_die.pk,
            edge="A",
            position_id=small_mill.die_place.pk,
            fitted_at=at("2026-02-20 06:00"),
        )


def test_the_next_edge_is_the_next_unused_one_and_then_goes_round(small_mill: SmallMill) -> None:
    second = flip(small_mill, small_mill.die_fitting)
    assert queries.edges_unused(small_mill.die) == ()
    assert queries.next_edge(second) == "A"


def test_viewers_move_nothing(small_mill: SmallMill) -> None:
    with pytest.raises(NotAllowed):
        flip(small_mill, small_mill.die_fitting, by=somebody(Role.VIEWER, "vera"))


def test_a_flip_leaves_an_audit_row_for_each_half(small_mill: SmallMill) -> None:
    begun = flip(small_mill, small_mill.die_fitting)
    rows = AuditEntry.objects.filter(action="flip", record="fitting")
    assert {row.record_id for row in rows} == {small_mill.die_fitting.pk, begun.pk}
    ended = rows.get(record_id=small_mill.die_fitting.pk)
    assert ended.old is not None
    assert ended.new is not None
    assert (ended.old["removed_at"], ended.new["removed_at"]) == (None, "2026-03-09T10:00:00+00:00")
