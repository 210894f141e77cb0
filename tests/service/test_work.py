"""Logging work: part and edge from the fitting, the move of a flip or replacement, gauges."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest
from django.db import IntegrityError, transaction

from tests.dates import at
from tests.mills.logbook_mill import NOW, SmallMill, codes, message, small_mill
from wearlog.equipment import queries as equipment
from wearlog.equipment.models import Fitting
from wearlog.logbook import actions
from wearlog.logbook.entries import NewIncident, NewMeasurement, NewWork
from wearlog.people.fields import Quantity
from wearlog.people.refusals import AlreadyMoved, Doubtful, Refused
from wearlog.service import queries
from wearlog.service.models import Incident, LotHold, Measurement, Rule, Service
from wearlog.service.triggers import field_of

__all__ = ["small_mill"]

DONE = "2026-03-09 10:00"


def gauge(value: str, phase: str = "", **more: str) -> NewMeasurement:
    return NewMeasurement(value_mm=Decimal(value), phase=phase, **more)  # type: ignore[arg-type]


def test_a_polish_takes_part_and_edge_from_the_fitting(small_mill: SmallMill) -> None:
    service = small_mill.work(
        "polish",
        DONE,
        expected_fitting_id=small_mill.die_fitting.pk,
        measurements=(gauge("5.20", "before"), gauge("5.25", "after")),
        finding="scored near the mouth",
    )
    assert (service.part, service.edge, service.position) == (small_mill.die, "A", small_mill.die_place)
    rows = Measurement.objects.filter(service=service)
    assert [(row.part_id, row.edge, row.value_mm, row.phase) for row in rows] == [
        (small_mill.die.pk, "A", Decimal("5.2"), "before"),
        (small_mill.die.pk, "A", Decimal("5.25"), "after"),
    ]
    assert {row.measured_at for row in rows} == {at(DONE)}
    assert Fitting.objects.not_voided().filter(part=small_mill.die).count() == 1


def test_work_at_a_position_is_work_on_what_sits_there(small_mill: SmallMill) -> None:
    service = small_mill.work("inspect", DONE, position_id=small_mill.screw_place.pk)
    assert (service.part, service.edge) == (small_mill.screw, "")


def test_work_on_the_press_as_a_whole_names_no_part(small_mill: SmallMill) -> None:
    service = small_mill.work("lubricate", DONE)
    assert (service.position, service.part) == (None, None)


def test_a_part_on_the_shelf_is_worked_on_by_name(small_mill: SmallMill) -> None:
    service = small_mill.work(
        "polish", DONE, part_id=small_mill.spare_die.pk, edge="B", measurements=(gauge("5.1"),)
    )
    assert (service.part, service.edge) == (small_mill.spare_die, "B")
    assert Measurement.objects.get().edge == "B"


def test_a_gauge_needs_to_know_its_edge(small_mill: SmallMill) -> None:
    with pytest.raises(Refused, match=r"D-2 has the edges A, B\. Choose one of them\."):
        small_mill.work("measure", DONE, part_id=small_mill.spare_die.pk, measurements=(gauge("5.1"),))


def test_a_gauge_needs_a_part(small_mill: SmallMill) -> None:
    with pytest.raises(Refused, match="which part was measured"):
        small_mill.work("measure", DONE, measurements=(gauge("5.1"),))


def test_a_flip_moves_the_fitting_and_names_the_edge_that_was_worn(small_mill: SmallMill) -> None:
    service = small_mill.work(
        "flip",
        DONE,
        expected_fitting_id=small_mill.die_fitting.pk,
        measurements=(gauge("5.4", "before"),),
    )
    now = Fitting.objects.open().get(part=small_mill.die)
    assert (service.edge, now.edge, now.fitted_at) == ("A", "B", at(DONE))
    assert Measurement.objects.get().edge == "A"


def test_a_flip_without_a_fitting_is_refused(small_mill: SmallMill) -> None:
    with pytest.raises(Refused, match="which part was flipped"):
        small_mill.work("flip", DONE, part_id=small_mill.die.pk)


def test_work_on_a_fitting_that_ended_since_is_refused_as_a_whole(small_mill: SmallMill) -> None:
    stale = small_mill.die_fitting
    actions.flip(by=small_mill.by, at=NOW, expected_fitting_id=stale.pk, moved_at=at(DONE))
    for action in ("polish", "flip"):
        with pytest.raises(AlreadyMoved, match="already flipped to edge B by Olga"):
            small_mill.work(
                action, "2026-03-09 11:00", expected_fitting_id=stale.pk, measurements=(gauge("5.2"),)
            )
    assert (Service.objects.count(), Measurement.objects.count()) == (0, 0)


def test_work_from_before_the_move_still_finds_its_edge(small_mill: SmallMill) -> None:
    stale = small_mill.die_fitting
    actions.flip(by=small_mill.by, at=NOW, expected_fitting_id=stale.pk, moved_at=at(DONE))
    service = small_mill.work("polish", "2026-03-08 10:00", expected_fitting_id=stale.pk)
    assert service.edge == "A"


def test_a_forgotten_flip_within_an_ended_fitting_is_refused(small_mill: SmallMill) -> None:
    stale = small_mill.die_fitting
    actions.flip(by=small_mill.by, at=NOW, expected_fitting_id=stale.pk, moved_at=at(DONE))
    with pytest.raises(AlreadyMoved, match="take the later one back first"):
        small_mill.work("flip", "2026-03-05 10:00", expected_fitting_id=stale.pk)
    assert Fitting.objects.not_voided().filter(part=small_mill.die).count() == 2


def test_a_forgotten_flip_is_logged_once_the_later_one_was_taken_back(small_mill: SmallMill) -> None:
    later = actions.flip(
        by=small_mill.by, at=NOW, expected_fitting_id=small_mill.die_fitting.pk, moved_at=at(DONE)
    )
    actions.undo_move(by=small_mill.by, at=NOW, fitting_id=later.pk, reason="one before was forgotten")
    first = actions.flip(
        by=small_mill.by,
        at=NOW,
        expected_fitting_id=small_mill.die_fitting.pk,
        moved_at=at("2026-03-05 10:00"),
    )
    actions.flip(by=small_mill.by, at=NOW, expected_fitting_id=first.pk, moved_at=at(DONE))
    assert [each.edge for each in equipment.history_of(small_mill.die)] == ["A", "B", "A"]


def test_a_back_dated_flip_of_what_sits_there_is_taken(small_mill: SmallMill) -> None:
    small_mill.work("flip", "2026-03-02 10:00", expected_fitting_id=small_mill.die_fitting.pk)
    assert equipment.fitting_on(small_mill.die_place, at=at("2026-03-02 10:00")) is not None
    assert Fitting.objects.open().get(part=small_mill.die).fitted_at == at("2026-03-02 10:00")


def test_work_before_the_part_was_fitted_is_refused(small_mill: SmallMill) -> None:
    with pytest.raises(Refused, match="was fitted on P1 · die only on"):
        small_mill.work("polish", "2026-02-20 10:00", expected_fitting_id=small_mill.die_fitting.pk)


def test_a_replacement_fits_the_new_part_on_its_first_unused_edge(small_mill: SmallMill) -> None:
    service = small_mill.work(
        "replace",
        DONE,
        expected_fitting_id=small_mill.die_fitting.pk,
        new_part_id=small_mill.spare_die.pk,
        old_part_retired_because="broken",
    )
    now = Fitting.objects.open().get(position=small_mill.die_place)
    assert (service.part, now.part, now.edge) == (small_mill.die, small_mill.spare_die, "A")
    small_mill.die.refresh_from_db()
    assert small_mill.die.retired_because == "broken"


def test_a_replacement_on_an_empty_position_fits_the_part(small_mill: SmallMill) -> None:
    actions.take_off(
        by=small_mill.by,
        at=NOW,
        expected_fitting_id=small_mill.die_fitting.pk,
        removed_at=at("2026-03-08 10:00"),
    )
    small_mill.work("replace", DONE, position_id=small_mill.die_place.pk, new_part_id=small_mill.spare_die.pk)
    assert Fitting.objects.open().get(position=small_mill.die_place).part == small_mill.spare_die


def test_a_replacement_says_what_went_on(small_mill: SmallMill) -> None:
    with pytest.raises(Refused, match="which part went on"):
        small_mill.work("replace", DONE, expected_fitting_id=small_mill.die_fitting.pk)


def test_a_belt_that_is_no_part_of_the_log_is_replaced_by_words_alone(small_mill: SmallMill) -> None:
    assert small_mill.work("replace", DONE, finding="belt").part is None


def test_a_part_goes_on_only_with_a_replacement(small_mill: SmallMill) -> None:
    with pytest.raises(Refused, match="only with a replacement"):
        small_mill.work(
            "polish",
            DONE,
            expected_fitting_id=small_mill.die_fitting.pk,
            new_part_id=small_mill.spare_die.pk,
        )


def test_work_names_a_known_action_rule_press_and_position(small_mill: SmallMill) -> None:
    with pytest.raises(Refused, match="no work known here"):
        small_mill.work("admire", DONE)
    with pytest.raises(Refused, match="no such rule"):
        small_mill.work("clean", DONE, rule_id=999_999)
    with pytest.raises(Refused, match="no such press"):
        small_mill.work("clean", DONE, press_id=999_999)
    with pytest.raises(Refused, match="is not on P1"):
        small_mill.work("clean", DONE, position_id=small_mill.other_screw_place.pk)
    with pytest.raises(Refused, match="sits on P3, not on P1"):
        small_mill.work("clean", DONE, expected_fitting_id=small_mill.other_screw_fitting.pk)


def test_negative_hours_of_work_are_refused(small_mill: SmallMill) -> None:
    with pytest.raises(Refused, match="Write a number from 0 to") as caught:
        small_mill.work("clean", DONE, labour_h=Decimal("-0.5"))
    assert caught.value.field == "labour_h"


def test_work_that_lies_ahead_asks(small_mill: SmallMill) -> None:
    with pytest.raises(Doubtful) as caught:
        small_mill.work("clean", "2026-03-11 10:00")
    assert codes(caught) == ["in_the_future"]
    assert small_mill.work("clean", "2026-03-11 10:00", confirmed=("in_the_future",)).pk


def test_a_doubtful_gauge_holds_the_flip_back_until_it_is_confirmed(small_mill: SmallMill) -> None:
    entry = NewWork(
        press_id=small_mill.press.pk,
        action="flip",
        done_at=at(DONE),
        expected_fitting_id=small_mill.die_fitting.pk,
        measurements=(gauge("54"),),
        ref="phone-1",
    )
    with pytest.raises(Doubtful) as caught:
        actions.log_work(by=small_mill.by, at=NOW, entry=entry)
    assert codes(caught) == ["large_step"]
    assert Fitting.objects.open().get(part=small_mill.die).edge == "A"
    actions.log_work(by=small_mill.by, at=NOW, entry=entry, confirmed=["large_step"])
    assert Fitting.objects.open().get(part=small_mill.die).edge == "B"


def test_gauges_of_one_piece_of_work_get_refs_of_their_own(small_mill: SmallMill) -> None:
    entry = NewWork(
        press_id=small_mill.press.pk,
        action="measure",
        done_at=at(DONE),
        expected_fitting_id=small_mill.die_fitting.pk,
        measurements=(gauge("5.1", place="front"), gauge("5.2", place="back")),
        ref="phone-9",
    )
    actions.log_work(by=small_mill.by, at=NOW, entry=entry)
    assert set(Measurement.objects.values_list("ref", flat=True)) == {"phone-9-m1", "phone-9-m2"}
    with pytest.raises(Refused, match="stored before, with other content"):
        actions.log_work(by=small_mill.by, at=NOW, entry=replace(entry, finding="worn"))


def test_a_gauge_bound_or_phase_out_of_the_list_is_refused(small_mill: SmallMill) -> None:
    with pytest.raises(Refused) as caught:
        small_mill.work(
            "measure",
            DONE,
            expected_fitting_id=small_mill.die_fitting.pk,
            measurements=(gauge("5.1", bound="about"),),
        )
    assert message(caught).startswith("The gauge gave:")


def test_an_incident_is_refused_where_it_can_not_be(small_mill: SmallMill) -> None:
    good = NewIncident(press_id=small_mill.press.pk, kind="metal", happened_at=NOW)
    for change, words in (
        ({"kind": "flood"}, "no incident known"),
        ({"happened_at": at("2026-03-11 10:00")}, "lies ahead"),
        ({"press_id": 999_999}, "no such press"),
        ({"position_id": small_mill.other_screw_place.pk}, "is not on P1"),
    ):
        with pytest.raises(Refused, match=words):
            actions.report_incident(by=small_mill.by, at=NOW, entry=replace(good, **change))
    assert Incident.objects.count() == 0


def test_pages_find_services_gauges_holds_and_rules(small_mill: SmallMill) -> None:
    first = small_mill.work("clean", "2026-03-08 10:00")
    second = small_mill.work(
        "polish", DONE, expected_fitting_id=small_mill.die_fitting.pk, measurements=(gauge("5.1"),)
    )
    assert list(queries.latest_services(small_mill.press)) == [second, first]
    assert list(queries.services_of(small_mill.die)) == [second]
    last = queries.last_measurement(small_mill.die, "A")
    assert last is not None
    assert last.value_mm == Decimal("5.1")
    actions.report_incident(
        by=small_mill.by,
        at=NOW,
        entry=NewIncident(press_id=small_mill.press.pk, kind="metal", happened_at=NOW, lot="L1"),
    )
    assert [hold.lot for hold in queries.open_holds()] == ["L1"]
    assert not queries.open_holds(small_mill.other).exists()
    die_rule = Rule.objects.create(code="flip dies", action="flip", kind="die", at_limit=True)
    press_rule = Rule.objects.create(code="grease", action="lubricate", every_h=Decimal(50))
    Rule.objects.create(code="other", action="clean", press=small_mill.other, every_days=Decimal(1))
    assert list(queries.rules_for(small_mill.press)) == [die_rule, press_rule]
    assert list(queries.rules_for(small_mill.press, small_mill.screw_fitting)) == [press_rule]


# --- what the database refuses ------------------------------------------------------------------------


def test_the_database_refuses_bad_service_rows(small_mill: SmallMill) -> None:
    good = {"press": small_mill.press, "done_at": NOW, "action": "clean"}
    Service.objects.create(ref="s1", **good)
    for change in (
        {"ref": "s1"},
        {"ref": ""},
        {"ref": "s2", "action": "admire"},
        {"ref": "s2", "edge": "E"},
        {"ref": "s2", "labour_h": Decimal(-1)},
    ):
        with pytest.raises(IntegrityError), transaction.atomic():
            Service.objects.create(**{**good, **change})


def test_the_database_refuses_bad_gauges_incidents_and_releases(small_mill: SmallMill) -> None:
    part = small_mill.die
    Measurement.objects.create(ref="m1", measured_at=NOW, part=part, edge="A", value_mm=Decimal(5))
    for change in (
        {"ref": "m1", "value_mm": Decimal(5)},
        {"ref": "", "value_mm": Decimal(5)},
        {"ref": "m2", "value_mm": Decimal("-0.1")},
        {"ref": "m2", "value_mm": Decimal(5), "bound": "about"},
        {"ref": "m2", "value_mm": Decimal(5), "phase": "during"},
        {"ref": "m2", "value_mm": Decimal(5), "edge": "Z"},
    ):
        with pytest.raises(IntegrityError), transaction.atomic():
            Measurement.objects.create(**{"measured_at": NOW, "part": part, **change})
    with pytest.raises(IntegrityError), transaction.atomic():
        Incident.objects.create(ref="i1", happened_at=NOW, press=small_mill.press, kind="flood")
    incident = Incident.objects.create(ref="i1", happened_at=NOW, press=small_mill.press, kind="metal")
    LotHold.objects.create(incident=incident, held_at=NOW)
    with pytest.raises(IntegrityError), transaction.atomic():
        LotHold.objects.update(released_at=NOW, released_by="", reason="fine")
    with pytest.raises(IntegrityError), transaction.atomic():
        LotHold.objects.update(released_at=NOW, released_by="Olga", reason="")
    with pytest.raises(IntegrityError), transaction.atomic():
        LotHold.objects.create(incident=incident, held_at=NOW)


@pytest.mark.parametrize("name", [name for name in Rule.TRIGGERS if isinstance(field_of(name), Quantity)])
def test_the_database_refuses_an_interval_of_nought(small_mill: SmallMill, name: str) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        Rule.objects.create(code="r", action="clean", **{name: Decimal(0)})
