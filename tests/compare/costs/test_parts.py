"""What runs use up of parts: made mills by hand, and the demo mill worked out once more by plain loops over
rows of the database."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from datetime import date
from decimal import Decimal

import pytest
from django.db import connection

from tests.dates import at
from tests.mills.run_maker import RunMaker
from wearlog.compare.costs.kinds import CostKind, Sort
from wearlog.compare.costs.parts import PartsUsed, parts_used
from wearlog.compare.costs.runs import OnNoRun, RunCosts
from wearlog.compare.queries import compare, known_costs
from wearlog.compare.runtable import load
from wearlog.equipment.models import Fitting, Part, PartType, Position, Press
from wearlog.forecasts.memory.queries import DayRecord, forecast_of_day
from wearlog.history import versions
from wearlog.logbook import demo

TODAY = date(2026, 6, 1)
DEMO_DAY = date(2026, 3, 4)
DIE = CostKind(Sort.PARTS, "die")


def costs() -> RunCosts:
    found = known_costs(load(), on=TODAY, start=(7, 1))
    assert found is not None
    return found


def die_type(code: str = "D5", *, price: int = 60, life_kg: int = 6000, edges: int = 1) -> PartType:
    return PartType.objects.create(
        code=code, kind="die", unit_cost=Decimal(price), expected_life_kg=life_kg, edges=edges
    )


def fit(part: Part, press: str, begin: str, end: str | None = None, edge: str = "") -> None:
    place, _made = Position.objects.get_or_create(press=Press.objects.get(code=press), name="die", kind="die")
    Fitting.objects.create(
        part=part,
        edge=edge,
        position=place,
        fitted_at=at(f"{begin} 00:00"),
        removed_at=None if end is None else at(f"{end} 00:00"),
    )


@pytest.fixture
def three_runs(run: RunMaker) -> None:
    """P1 presses 1 t on each of three days."""
    for day in ("02", "03", "04"):
        run("P1", "flax", f"2026-03-{day} 06:00", hours="10", kg="1000")


def test_each_edge_has_its_share_of_the_price(three_runs: None) -> None:
    part = Part.objects.create(code="D1", part_type=die_type(edges=2))
    fit(part, "P1", "2026-03-01", "2026-03-04", edge="A")
    fit(part, "P1", "2026-03-04", edge="B")
    # Each edge of 30 lasts for 6 t: 5 for a tonne.
    assert costs().costs[DIE].tolist() == pytest.approx([5.0, 5.0, 5.0])


def test_a_part_in_use_costs_what_was_used_of_it(three_runs: None) -> None:
    """The price of retired parts alone would say that nothing was used up."""
    fit(Part.objects.create(code="D1", part_type=die_type()), "P1", "2026-03-01")
    assert costs().costs[DIE].tolist() == pytest.approx([10.0, 10.0, 10.0])


def test_a_run_in_the_midst_of_a_change_is_shared_by_time(three_runs: None) -> None:
    kind = die_type()
    old = Part.objects.create(code="D1", part_type=kind)
    place = Position.objects.create(press=Press.objects.get(code="P1"), name="die", kind="die")
    Fitting.objects.create(
        part=old, position=place, fitted_at=at("2026-03-01 00:00"), removed_at=at("2026-03-03 08:30")
    )
    assert costs().costs[DIE].tolist() == pytest.approx([10.0, 2.5, 0.0])


def test_a_part_that_ends_early_costs_its_whole_price(three_runs: None) -> None:
    part = Part.objects.create(
        code="D1", part_type=die_type(), retired_on=date(2026, 3, 3), retired_because="broken"
    )
    fit(part, "P1", "2026-03-01", "2026-03-03")
    # 10 for the tonne that it pressed, and what was left of 60 over the season's three tonnes.
    assert costs().costs[DIE].tolist() == pytest.approx([10 + 50 / 3, 50 / 3, 50 / 3])


def test_a_part_lost_before_it_was_fitted_is_on_the_mills_own_account(three_runs: None) -> None:
    kind = die_type()
    fit(Part.objects.create(code="D1", part_type=kind), "P1", "2026-03-01")
    Part.objects.create(code="D2", part_type=kind, retired_on=date(2026, 3, 3), retired_because="lost")
    assert costs().on_no_run == (OnNoRun("", "D2", date(2026, 3, 3), 60.0),)
    assert costs().costs[DIE].sum() == pytest.approx(30.0)


def test_a_reamed_die_is_worth_what_was_left_of_the_one_it_was_made_from(three_runs: None) -> None:
    old = Part.objects.create(
        code="D1", part_type=die_type(), retired_on=date(2026, 3, 3), retired_because="remade"
    )
    fit(old, "P1", "2026-03-01", "2026-03-03")
    reamed = Part.objects.create(code="D2", part_type=die_type("D6", price=80, life_kg=5000), made_from=old)
    fit(reamed, "P1", "2026-03-03")
    # 1 t of 6 at 60; then 50 for 5 t. Two full prices would be 10, 16 and 16.
    assert costs().costs[DIE].tolist() == pytest.approx([10.0, 10.0, 10.0])
    assert costs().on_no_run == ()


def test_a_part_on_a_press_that_never_ran_costs_nothing_yet(three_runs: None) -> None:
    Press.objects.create(code="P2")
    versions.touch()
    fit(Part.objects.create(code="D1", part_type=die_type()), "P2", "2026-03-01")
    assert costs().costs[DIE].tolist() == [0.0, 0.0, 0.0]


def test_hours_wear_what_lasts_for_hours(three_runs: None) -> None:
    place = Position.objects.create(press=Press.objects.get(code="P1"), name="belt", kind="belt")
    kind = PartType.objects.create(code="belt", kind="belt", unit_cost=Decimal(100), expected_life_h=200)
    part = Part.objects.create(code="B1", part_type=kind)
    Fitting.objects.create(part=part, position=place, fitted_at=at("2026-03-01 00:00"))
    assert costs().costs[CostKind(Sort.PARTS, "belt")].tolist() == pytest.approx([5.0, 5.0, 5.0])


def test_work_before_this_log_has_used_up_its_part(three_runs: None) -> None:
    part = Part.objects.create(code="D1", part_type=die_type(), used_kg=Decimal(5000))
    fit(part, "P1", "2026-03-01")
    assert costs().costs[DIE].tolist() == pytest.approx([10.0, 0.0, 0.0], abs=1e-9)


@pytest.fixture
def demo_mill(db: None) -> tuple[DayRecord, PartsUsed]:
    demo.load(by=None, today=DEMO_DAY)
    ground = forecast_of_day(as_of=DEMO_DAY).ground
    return ground, parts_used(ground.record, ground.edges)


def rows_of(sql: str) -> list[dict[str, object]]:
    with connection.cursor() as cursor:
        cursor.execute(sql)
        names = [column[0] for column in cursor.description]
        return [dict(zip(names, row, strict=True)) for row in cursor.fetchall()]


def number(value: object) -> float:
    return float(str(value))


def lives_in_seed(ground: DayRecord, type_: Mapping[str, object]) -> list[float] | None:
    """Kilograms of each crop, as the wear model and the type say, without the code under test."""
    fit_of = ground.edges.fits.get(int(number(type_["id"])))
    if fit_of is not None and fit_of.new_edge.basis == "fleet":
        budget = abs(number(type_["limit_mm"]) - number(type_["new_mm"]))
        rates = [None if rate is None else rate.mid for rate in fit_of.rates]
        known = [rate for rate in rates if rate is not None]
        return [budget / (sum(known) / len(known) if rate is None else rate) for rate in rates]
    if type_["expected_life_kg"] is not None:
        return [number(type_["expected_life_kg"])] * len(ground.record.crops)
    return None


def test_the_demos_dies_and_screws_agree_with_plain_loops(demo_mill: tuple[DayRecord, PartsUsed]) -> None:
    ground, found = demo_mill
    record = ground.record
    stamp = (
        "(julianday({0}) - 2440587.5) * 86400.0"
        if connection.vendor == "sqlite"
        else "extract(epoch from {0})"
    )
    runs = defaultdict(list)
    for row in rows_of(
        f"select r.*, c.code as crop_code, {stamp.format('r.started_at')} as a,"
        f" {stamp.format('r.ends_at')} as b from runs_run r join runs_crop c on c.id = r.crop_id"
        " where r.voided_at is null and r.ends_at is not null order by r.started_at"
    ):
        runs[row["press_id"]].append(row)
    fittings = defaultdict(list)
    for row in rows_of(
        f"select f.part_id, f.edge, p.press_id, p.barrel, p.share, {stamp.format('f.fitted_at')} as a,"
        f" {stamp.format('f.removed_at')} as b from equipment_fitting f"
        " join equipment_position p on p.id = f.position_id where f.voided_at is null order by f.fitted_at"
    ):
        fittings[row["part_id"], row["edge"]].append(row)
    barrels = defaultdict(set)
    for row in rows_of("select press_id, barrel from equipment_position where barrel <> ''"):
        barrels[row["press_id"]].add(row["barrel"])
    used: dict[tuple[object, object], float] = defaultdict(float)
    rest: dict[object, float] = defaultdict(float)
    for part in rows_of(
        "select p.id as part_id, p.made_from_id, t.* from equipment_part p"
        " join equipment_parttype t on t.id = p.part_type_id where t.kind in ('die', 'screw')"
        " order by p.made_from_id is not null"  # the sources first: none of the demo's was reamed twice
    ):
        lives = lives_in_seed(ground, part)
        assert lives is not None
        edges = int(number(part["edges"]))
        value = number(part["unit_cost"]) if part["made_from_id"] is None else rest[part["made_from_id"]]
        for edge in ("A", "B", "C", "D")[:edges] if edges > 1 else ("",):
            left = 1.0
            for fitting in fittings[part["part_id"], edge]:
                end = record.end if fitting["b"] is None else number(fitting["b"])
                for run in runs[fitting["press_id"]]:
                    a, b = number(run["a"]), number(run["b"])
                    share = max(0.0, min(b, end) - max(a, number(fitting["a"]))) / (b - a)
                    if fitting["barrel"]:
                        own = barrels[fitting["press_id"]]
                        through = str(run["through"]).split() or sorted(map(str, own))
                        share *= (fitting["barrel"] in through) / len(through)
                    crop = record.crops.index(str(run["crop_code"]))
                    taken = min(left, share * number(run["seed_kg"]) / lives[crop])
                    left -= taken
                    used[part["kind"], fitting["press_id"]] += taken * value / edges
            rest[part["part_id"]] += left * value / edges
    for kind in ("die", "screw"):
        for press_id in record.presses:
            # Stamps of julianday are good to some tens of microseconds.
            assert found.each[kind, press_id].sum() == pytest.approx(used[kind, press_id], rel=1e-6)
    assert sum(used.values()) > 1000


def test_what_is_charged_written_off_and_left_of_the_demos_parts_is_their_price(
    demo_mill: tuple[DayRecord, PartsUsed],
) -> None:
    _ground, found = demo_mill
    charged = sum(float(column.sum()) for (kind, _press), column in found.each.items() if kind == "die")
    lost = sum(off.amount for off in found.written_off if off.kind == "die")
    dies = rows_of(
        "select p.*, t.unit_cost from equipment_part p join equipment_parttype t on t.id = p.part_type_id"
        " where t.kind = 'die' and p.made_from_id is null"
    )
    bought = sum(number(die["unit_cost"]) for die in dies)
    retired = sum(
        number(die["unit_cost"]) for die in dies if die["retired_because"] in ("worn", "broken", "lost")
    )
    assert retired < charged + lost < bought


def test_steel_is_dearer_on_the_crop_that_wears_it(demo_mill: tuple[DayRecord, PartsUsed]) -> None:
    ground, _found = demo_mill
    record = ground.record
    (screw,) = [type_ for type_ in record.types.values() if type_.code == "SC60"]
    rates = dict(zip(record.crops, ground.edges.fits[screw.id].rates, strict=True))
    dear, cheap = rates["sunflower"], rates["rapeseed"]
    assert dear is not None
    assert cheap is not None
    assert dear.mid > 1.2 * cheap.mid
    table, costs_of_all = load(), known_costs(load(), on=DEMO_DAY, start=(7, 1))
    assert costs_of_all is not None
    (north,) = [press.id for press in record.presses.values() if press.code == "P1"]
    screws = costs_of_all.parts.each["screw", north]
    runs = record.runs[north]
    assert table.id.size >= runs.id.size
    per_t = {
        crop: 1000 * screws[runs.crop == place].sum() / runs.seed_kg[runs.crop == place].sum()
        for place, crop in enumerate(record.crops)
        if (runs.crop == place).any()
    }
    assert per_t["sunflower"] > 1.2 * per_t["rapeseed"]


def test_costs_add_up_over_presses_crops_and_seasons(demo_mill: tuple[DayRecord, PartsUsed]) -> None:
    whole = compare(by=("press",), money_on=DEMO_DAY).total.money
    assert whole is not None
    for by in (("press",), ("crop",), ("season",), ("press", "crop", "season")):
        lines = [line.money for line in compare(by=by, money_on=DEMO_DAY).lines]
        assert sum(each.tonnes for each in lines if each) == pytest.approx(whole.tonnes)
        for sort in (Sort.PARTS, Sort.WORK, Sort.STAND_STILL):
            amount = sum((each.per_t(sort) or 0.0) * each.tonnes for each in lines if each)
            assert amount == pytest.approx((whole.per_t(sort) or 0.0) * whole.tonnes)
