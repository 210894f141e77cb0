"""What pages ask about presses and parts."""

from __future__ import annotations

from datetime import date

from tests.dates import at
from tests.mills.logbook_mill import NOW, SmallMill, small_mill
from wearlog.equipment import queries
from wearlog.equipment.models import Part, Position, Press
from wearlog.logbook import actions

__all__ = ["small_mill"]


def test_seats_name_every_position_with_or_without_a_part(
    small_mill: SmallMill, django_assert_max_num_queries: object
) -> None:
    Position.objects.create(press=small_mill.press, name="head", kind="head")
    with django_assert_max_num_queries(2):  # type: ignore[operator]
        seats = [
            (seat.position.name, seat.fitting.part.code if seat.fitting else None)
            for seat in queries.seats_of(small_mill.press)
        ]
    assert seats == [("die", "D-1"), ("head", None), ("screw", "S-1")]


def test_what_was_fitted_then_differs_from_what_is_fitted_now(small_mill: SmallMill) -> None:
    actions.flip(
        by=small_mill.by,
        at=NOW,
        expected_fitting_id=small_mill.die_fitting.pk,
        moved_at=at("2026-03-09 10:00"),
    )

    def edges(rows: object) -> list[str]:
        return [each.edge for each in rows if each.part == small_mill.die]  # type: ignore[attr-defined]

    assert edges(queries.fitted_now(small_mill.press)) == ["B"]
    assert edges(queries.fitted_at(small_mill.press, at=at("2026-03-09 09:59"))) == ["A"]
    # A fitting includes its start and excludes its end.
    assert edges(queries.fitted_at(small_mill.press, at=at("2026-03-09 10:00"))) == ["B"]
    assert queries.edges_used(small_mill.die) == ("A", "B")


def test_spares_are_neither_fitted_nor_retired(small_mill: SmallMill) -> None:
    Part.objects.create(code="D-9", part_type=small_mill.die.part_type, retired_on=date(2026, 1, 1))
    assert [part.code for part in queries.spares(kind="die")] == ["D-2"]
    assert [part.code for part in queries.spares_for(small_mill.screw_place)] == ["S-2"]
    assert [part.code for part in queries.spares()] == ["D-2", "S-2"]


def test_a_press_retired_on_a_day_is_out_of_service_from_that_day(small_mill: SmallMill) -> None:
    Press.objects.filter(code="P3").update(retired_on=date(2026, 3, 5))
    assert [press.code for press in queries.presses_in_service(on=date(2026, 3, 4))] == ["P1", "P2", "P3"]
    assert [press.code for press in queries.presses_in_service(on=date(2026, 3, 5))] == ["P1", "P2"]
