"""What was pressed with each thing, by hand and against SQL on the demo mill; availability from a log."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest
from django.db import connection

from tests.dates import at
from tests.mills.run_maker import RunMaker
from wearlog.compare.fitted import FittedLine, lines, press_times
from wearlog.equipment.models import Fitting, Part, PartType, Position, Press
from wearlog.logbook import demo
from wearlog.service.models import Incident, Service

TODAY = date(2026, 6, 1)
DEMO_DAY = date(2026, 3, 4)


def line(by: str, name: str, crop: str = "flax") -> FittedLine:
    (found,) = [one for one in lines(by, on=TODAY) if (one.name, one.crop) == (name, crop)]
    return found


def fit(
    part: Part, begin: str, end: str | None = None, edge: str = "", name: str = "die", **of: object
) -> None:
    place, _made = Position.objects.get_or_create(
        press=Press.objects.get(code="P1"), name=name, kind=part.part_type.kind, **of
    )
    Fitting.objects.create(
        part=part,
        edge=edge,
        position=place,
        fitted_at=at(f"{begin} 00:00"),
        removed_at=None if end is None else at(f"{end} 00:00"),
    )


@pytest.fixture
def flipped(run: RunMaker) -> Part:
    """P1 presses 1 t of flax in 20 h on edge A, 1 t in 10 h on edge B, and 2 t of rape in 10 h on it."""
    weighed = {"oil_kg": Decimal(350), "cake_kg": Decimal(600), "energy_kwh": Decimal(60)}
    run("P1", "flax", "2026-03-02 06:00", hours="20", kg="1000", cake_oil_pct=Decimal(12), **weighed)
    run("P1", "flax", "2026-03-03 06:00", hours="10", kg="1000", seed_oil_pct=Decimal(41), **weighed)
    run("P1", "rape", "2026-03-04 06:00", hours="10", kg="2000")
    kind = PartType.objects.create(code="D5", kind="die", edges=2, size_mm=5)
    die = Part.objects.create(code="D5-01", part_type=kind)
    fit(die, "2026-03-01", "2026-03-03", edge="A")
    fit(die, "2026-03-03", edge="B")
    return die


def test_each_edge_has_its_own_runs(flipped: Part) -> None:
    assert [line("edge", f"D5-01 {edge}").hours_per_t for edge in ("A", "B")] == [20.0, 10.0]
    assert line("edge", "D5-01 B", "rape").hours_per_t == 5.0
    assert (line("die", "D5-01").hours_per_t, line("die", "D5-01").runs) == (15.0, 2)
    assert (line("size", "5").tonnes, line("press", "P1").tonnes) == (2.0, 2.0)


def test_oil_left_in_the_cake_is_by_the_laboratory_else_estimated(flipped: Part) -> None:
    first, second = line("edge", "D5-01 A"), line("edge", "D5-01 B")
    assert (first.residual_pct, first.estimated) == (12.0, False)
    # 410 kg of oil in the seed, 350 weighed: 60 of 600 kg of cake.
    assert (second.residual_pct, second.estimated) == (pytest.approx(10.0), True)
    assert (first.oil_pct, first.kwh_per_t) == (35.0, 60.0)
    assert line("edge", "D5-01 B", "rape").residual_pct is None


def test_work_on_a_thing_is_shared_by_all_that_was_pressed_with_it(flipped: Part) -> None:
    press = Press.objects.get(code="P1")
    Service.objects.create(
        ref="s1", press=press, part=flipped, done_at=at("2026-03-03 00:00"), action="flip",
        labour_h=Decimal(2), downtime_h=Decimal(1),
    )  # fmt: skip
    Service.objects.create(ref="s2", press=press, done_at=at("2026-03-05 00:00"), action="clean", labour_h=6)
    assert (line("die", "D5-01").work_h_per_t, line("die", "D5-01").stood_h_per_t) == (0.5, 0.25)
    assert line("press", "P1").work_h_per_t == 2.0
    assert line("edge", "D5-01 A").work_h_per_t is None


def test_a_press_with_two_barrels_gives_each_die_its_share(run: RunMaker) -> None:
    run("P1", "flax", "2026-03-02 06:00", hours="20", kg="1000")
    kind = PartType.objects.create(code="D5", kind="die", size_mm=5)
    for side, share in (("left", "0.6"), ("right", "0.4")):
        die = Part.objects.create(code=f"D-{side}", part_type=kind)
        fit(die, "2026-03-01", name=f"{side} die", barrel=side, share=Decimal(share))
    assert [line("die", f"D-{side}").tonnes for side in ("left", "right")] == [0.6, 0.4]
    assert line("size", "5").tonnes == 1.0
    assert line("size", "5").hours_per_t == 20.0


def test_a_thing_that_nobody_knows_is_refused() -> None:
    with pytest.raises(ValueError, match="none of press"):
        lines("colour", on=TODAY)


def test_availability_counts_what_fell_into_the_season(run: RunMaker) -> None:
    for day in range(2, 12):
        run("P1", "flax", f"2026-03-{day:02d} 06:00", hours="9", kg="100")
    press = Press.objects.get(code="P1")
    for number, (day, action, hours) in enumerate(
        [("2026-03-04", "clean", 4), ("2026-03-06", "repair", 5), ("2026-03-08", "adjust", 1),
         ("2026-05-20", "repair", 100)]
    ):  # fmt: skip
        Service.objects.create(
            ref=f"s{number}", press=press, done_at=at(f"{day} 18:00"), action=action, downtime_h=hours
        )
    Incident.objects.create(ref="i1", press=press, happened_at=at("2026-03-08 17:00"), kind="plugged")
    Incident.objects.create(ref="i2", press=press, happened_at=at("2026-03-09 17:00"), kind="noise")
    (found,) = press_times(on=TODAY)
    # 90 h of pressing; cleaning took 4, the repair 5, the plug 1: the repair in May is out of season.
    assert found.found.by_time == pytest.approx(90 / 100)
    assert found.found.operational == pytest.approx(90 / 96)
    assert (found.found.failures, found.found.between_failures_h) == (2, None)


def test_the_demos_lines_by_press_agree_with_sql(db: None) -> None:
    demo.load(by=None, today=DEMO_DAY)
    with connection.cursor() as cursor:
        cursor.execute(
            "select p.name, c.code, count(*), sum(r.seed_kg) / 1000.0, 100.0 * sum(r.oil_kg) / sum(r.seed_kg)"
            " from runs_run r join equipment_press p on p.id = r.press_id"
            " join runs_crop c on c.id = r.crop_id where r.voided_at is null and not r.purge"
            " and r.seed_how <> 'worked_out' and r.ends_at is not null and r.oil_kg is not null"
            " group by p.name, c.code"
        )
        by_sql = {(name, crop): numbers for name, crop, *numbers in cursor.fetchall()}
    found = lines("press", on=DEMO_DAY)
    assert len(found) == len(by_sql) > 8
    for one in found:
        runs, tonnes, oil_pct = by_sql[one.name, one.crop]
        assert one.runs == runs
        assert one.tonnes == pytest.approx(float(tonnes))
        assert one.oil_pct == pytest.approx(float(oil_pct))
    dies = lines("die", on=DEMO_DAY)
    assert sum(one.tonnes for one in dies) == pytest.approx(sum(one.tonnes for one in found), rel=0.01)
