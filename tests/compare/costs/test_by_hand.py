"""Costs per tonne, as far as prices are recorded, by hand."""

from __future__ import annotations

import csv
import io
import json
from datetime import date
from decimal import Decimal

import pytest
from django.core.management import call_command
from openpyxl import load_workbook

from tests.dates import at
from tests.mills.run_maker import RunMaker
from wearlog.compare.costs.kinds import CostKind, Lack, LeftOut, Sort
from wearlog.compare.costs.money import Money
from wearlog.compare.costs.runs import OnNoRun
from wearlog.compare.earning import sentences
from wearlog.compare.export import as_csv, as_xlsx
from wearlog.compare.queries import Comparison, compare, known_costs
from wearlog.compare.runtable import load
from wearlog.equipment.models import Fitting, Part, PartType, Position, Press
from wearlog.history import versions
from wearlog.runs.models import Price
from wearlog.service.models import Service

TODAY = date(2026, 6, 1)


def price(item: str, from_on: str, value: str) -> None:
    Price.objects.create(item=item, from_on=date.fromisoformat(from_on), price=Decimal(value))


def serve(press: str, done: str, **fields: object) -> None:
    number = Service.objects.count()
    Service.objects.create(
        ref=f"s{number}", press=Press.objects.get(code=press), done_at=at(done), action="clean", **fields
    )


def money(comparison: Comparison, press: str) -> Money:
    (line,) = [one for one in comparison.lines if one.press == press]
    assert line.money is not None
    return line.money


def die(code: str, **fields: object) -> Part:
    """A die of 58 with one edge, that lasts for so much seed."""
    life = fields.pop("life_kg", None)
    kind, _made = PartType.objects.get_or_create(
        code=f"D {life}", kind="die", unit_cost=Decimal(58), expected_life_kg=life
    )
    return Part.objects.create(code=code, part_type=kind, **fields)


def fit(part: Part, press: str, begin: str, end: str | None) -> None:
    place, _made = Position.objects.get_or_create(press=Press.objects.get(code=press), name="die", kind="die")
    Fitting.objects.create(
        part=part,
        position=place,
        fitted_at=at(f"{begin} 00:00"),
        removed_at=None if end is None else at(f"{end} 00:00"),
    )


@pytest.fixture
def two_presses(run: RunMaker) -> None:
    """P1 and P2 press 2 t of flax in 40 and 80 h, with oil and cake weighed; P1's energy is metered."""
    for press, hours in (("P1", "20"), ("P2", "40")):
        for day in ("02", "09"):
            energy = Decimal(100) if press == "P1" else None
            run(press, "flax", f"2026-03-{day} 06:00", hours=hours, kg="1000", oil_kg=Decimal(350),
                cake_kg=Decimal(640), energy_kwh=energy)  # fmt: skip


def test_without_prices_there_are_no_money_columns(two_presses: None) -> None:
    comparison = compare(by=("press",), money_on=TODAY)
    assert comparison.total.money is None
    assert as_csv(comparison).splitlines()[0].endswith("seed_without_hours_kg")


def test_money_is_told_only_where_it_is_asked_for(two_presses: None) -> None:
    price("oil_kg", "2026-01-01", "3")
    assert compare(by=("press",)).total.money is None
    assert compare(by=("press",), money_on=TODAY).total.money is not None


def test_costs_and_income_per_tonne_by_hand(two_presses: None) -> None:
    for item, value in (("oil_kg", "3"), ("cake_kg", "0.5"), ("labour_h", "30"), ("energy_kwh", "0.25"),
                        ("seed_kg flax", "0.6")):  # fmt: skip
        price(item, "2026-01-01", value)
    serve("P1", "2026-03-05 08:00", labour_h=Decimal(2), cost=Decimal(20))
    serve("P2", "2026-03-05 08:00", labour_h=Decimal(1))
    for number, press in enumerate(("P1", "P2")):
        fit(die(f"D{number}", life_kg=4000), press, "2026-03-01", None)
    comparison = compare(by=("press",), money_on=TODAY)
    first = money(comparison, "P1")
    # 2 t: half of a die of 58, work of 20 + 2 h at 30, 200 kWh at 0.25 that P2 has not on record; 700 kg of
    # oil at 3 and 1280 of cake at 0.5.
    assert first.per_t(Sort.PARTS) == pytest.approx(14.5)
    assert first.per_t(Sort.WORK) == 40.0
    assert first.per_t(Sort.ENERGY) == 25.0
    assert first.per_t(Sort.LOST_OIL) == pytest.approx(0.0)
    assert first.cost_per_t == pytest.approx(54.5)
    assert first.income_per_t == 1370.0
    assert first.seed_per_t == 600.0
    assert first.left_per_t == pytest.approx(715.5)
    assert first.left_per_h == pytest.approx(35.775)  # 2 t in 40 h
    second = money(comparison, "P2")
    assert (second.per_t(Sort.WORK), second.per_t(Sort.ENERGY)) == (15.0, None)
    told = " ".join(sentences(comparison))
    assert "P1 earns most: for each hour it presses it leaves 35.77 EUR, for each tonne 715.50 EUR." in told
    assert "P2 leaves least: 18.51 EUR an hour, 740.50 EUR a tonne." in told
    assert "not on record: Energy (P2)" in told


def test_a_press_that_alone_records_energy_does_not_look_dearer_for_it(two_presses: None) -> None:
    price("energy_kwh", "2026-01-01", "100")
    for number, press in enumerate(("P1", "P2")):
        fit(die(f"D{number}", life_kg=4000), press, "2026-03-01", None)
    comparison = compare(by=("press",), money_on=TODAY)
    assert [money(comparison, press).cost_per_t for press in ("P1", "P2")] == [
        pytest.approx(14.5),
        pytest.approx(14.5),
    ]
    assert money(comparison, "P1").per_t(Sort.ENERGY) == 10_000.0
    assert comparison.basket is not None
    assert LeftOut(CostKind(Sort.ENERGY), ("P2",), Lack.NOT_RECORDED) in comparison.basket.left_out


def test_one_press_has_one_cost_in_all_lines_and_figures(two_presses: None) -> None:
    price("seed_kg flax", "2026-01-01", "0.6")
    price("oil_kg", "2026-01-01", "3")
    serve("P1", "2026-03-05 08:00", cost=Decimal(20))
    serve("P2", "2026-03-05 08:00", cost=Decimal(10))
    comparison = compare(by=("press",), money_on=TODAY)
    of_line = [line.money for line in comparison.lines]
    assert [figure.money for figure in comparison.presses] == of_line
    assert comparison.basket is not None
    assert [sum(rate for _kind, rate in press.pressed) for press in comparison.basket.presses] == [
        pytest.approx(each.cost_per_t) for each in of_line if each is not None
    ]


def test_seed_that_was_worked_out_counts_in_costs_and_in_tonnes(run: RunMaker) -> None:
    price("energy_kwh", "2026-01-01", "1")
    price("minding_h", "2026-01-01", "2")
    run("P1", "flax", "2026-03-02 06:00", hours="10", kg="1000", energy_kwh=Decimal(50))
    run(
        "P1", "flax", "2026-03-03 06:00", hours="10", kg="1000", energy_kwh=Decimal(70), seed_how="worked_out"
    )
    serve("P1", "2026-03-05 08:00", cost=Decimal(30))
    found = money(compare(by=("press",), money_on=TODAY), "P1")
    assert found.tonnes == 2.0
    assert found.per_t(Sort.ENERGY) == 60.0
    assert found.per_t(Sort.MINDING) == 20.0
    assert found.per_t(Sort.WORK) == 15.0
    assert found.cost_per_t == 95.0


def test_work_on_a_press_that_never_ran_is_named(two_presses: None) -> None:
    serve("P1", "2026-03-05 08:00", cost=Decimal(20))
    Press.objects.create(code="P3", name="Old press")
    versions.touch()
    serve("P3", "2026-03-05 08:00", cost=Decimal(70))
    costs = known_costs(load(), on=TODAY, start=(7, 1))
    assert costs is not None
    assert costs.on_no_run == (OnNoRun("Old press", "", date(2026, 3, 5), 70.0),)


def test_a_press_that_stands_costs_the_price_of_its_hours(two_presses: None) -> None:
    price("stand_still_h", "2026-01-01", "18")
    serve("P1", "2026-03-05 08:00", downtime_h=Decimal(3))
    found = money(compare(by=("press",), money_on=TODAY), "P1")
    assert found.per_t(Sort.STAND_STILL) == 27.0


def test_oil_that_falls_short_of_better_runs_of_the_harvest_is_lost(run: RunMaker) -> None:
    price("oil_kg", "2026-01-01", "3")
    price("cake_kg", "2026-01-01", "0.5")
    # Weeks of one press: 40 % in one, 36 % in three. A quarter of the seed gave 40 % or more.
    for week, oil in enumerate((400, 360, 360, 360)):
        run("P1", "flax", f"2026-03-{2 + 7 * week:02d} 06:00", hours="10", kg="1000", oil_kg=Decimal(oil))
    found = money(compare(by=("press",), money_on=TODAY), "P1")
    assert found.per_t(Sort.LOST_OIL) == pytest.approx(30 * 2.5)  # (0 + 40 + 40 + 40) / 4 kg a tonne


def test_the_price_of_a_runs_own_day_counts(run: RunMaker) -> None:
    price("oil_kg", "2026-01-01", "2")
    price("oil_kg", "2026-03-05", "4")
    for day in ("04", "05"):
        run("P1", "flax", f"2026-03-{day} 06:00", hours="10", kg="1000", oil_kg=Decimal(300))
    assert compare(by=("press",), money_on=TODAY).lines[0].money is not None
    assert money(compare(by=("press",), money_on=TODAY), "P1").income_per_t == 900.0  # (600 + 1200) / 2 t


def test_labour_without_a_price_is_named_for_the_press_that_it_is_missing_for(two_presses: None) -> None:
    price("oil_kg", "2026-01-01", "3")
    serve("P1", "2026-03-05 08:00", labour_h=Decimal(2))
    comparison = compare(by=("press",), money_on=TODAY)
    serve("P2", "2026-03-05 08:00", cost=Decimal(2))
    comparison = compare(by=("press",), money_on=TODAY)
    assert money(comparison, "P1").per_t(Sort.WORK) is None
    assert money(comparison, "P2").per_t(Sort.WORK) == 1.0
    assert "no price: Work (P1), Minding, Energy" in " ".join(sentences(comparison))


def test_a_part_without_a_price_is_named(two_presses: None) -> None:
    price("oil_kg", "2026-01-01", "3")
    kind = PartType.objects.create(code="D5", kind="die", expected_life_kg=4000)
    fit(Part.objects.create(code="D1", part_type=kind), "P1", "2026-03-01", None)
    fit(die("D2", life_kg=None), "P2", "2026-03-01", None)
    comparison = compare(by=("press",), money_on=TODAY)
    assert money(comparison, "P1").cost_per_t == pytest.approx(0.0)  # lost oil alone
    assert comparison.basket is not None
    of_dies = [out for out in comparison.basket.left_out if out.kind == CostKind(Sort.PARTS, "die")]
    assert of_dies == [
        LeftOut(CostKind(Sort.PARTS, "die"), ("P1",), Lack.NO_PRICE),
        LeftOut(CostKind(Sort.PARTS, "die"), ("P2",), Lack.NO_LIFE),
    ]


def test_a_summers_work_counts_for_the_season_it_prepares(run: RunMaker) -> None:
    price("labour_h", "2024-01-01", "10")
    for year in ("2025", "2026"):
        run("P1", "flax", f"{year}-03-02 06:00", hours="10", kg="1000")
    serve("P1", "2025-08-15 08:00", labour_h=Decimal(3))
    comparison = compare(by=("press", "season"), money_on=TODAY)
    assert [(line.season, line.money and line.money.per_t(Sort.WORK)) for line in comparison.lines] == [
        ("2024/25", 0.0),
        ("2025/26", 30.0),
    ]


def test_work_is_spread_over_the_crops_of_its_season_by_their_seed(run: RunMaker) -> None:
    price("labour_h", "2024-01-01", "10")
    run("P1", "flax", "2026-03-02 06:00", hours="10", kg="1000")
    run("P1", "rape", "2026-03-03 06:00", hours="10", kg="3000")
    serve("P1", "2026-03-04 08:00", labour_h=Decimal(8))
    comparison = compare(by=("crop",), money_on=TODAY)
    assert [line.money and line.money.per_t(Sort.WORK) for line in comparison.lines] == [20.0, 20.0]


def test_a_crop_whose_seed_has_no_price_is_left_out_of_what_a_press_earns(run: RunMaker) -> None:
    price("oil_kg", "2024-01-01", "3")
    price("seed_kg flax", "2024-01-01", "0.5")
    run("P1", "flax", "2026-03-02 06:00", hours="10", kg="1000", oil_kg=Decimal(300))
    run("P1", "rape", "2026-03-03 06:00", hours="10", kg="1000", oil_kg=Decimal(400))
    comparison = compare(by=("press",), money_on=TODAY)
    assert money(comparison, "P1").left_per_t == 400.0
    told = " ".join(sentences(comparison))
    assert "P1 leaves 40.00 EUR for each hour it presses, and 400.00 EUR for each tonne." in told
    assert "Only runs of flax are counted for this: no other crop's seed has a price." in told


def test_without_weighed_oil_nobody_is_told_which_press_earns(run: RunMaker) -> None:
    price("oil_kg", "2024-01-01", "3")
    run("P1", "flax", "2026-03-02 06:00", hours="10", kg="1000")
    told = sentences(compare(by=("press",), money_on=TODAY))
    assert told[0].startswith("Which press earns can't be said yet: it takes weighed oil and its price")


def test_files_and_terminal_have_the_columns(two_presses: None) -> None:
    price("oil_kg", "2026-01-01", "3")
    comparison = compare(by=("press",), money_on=TODAY)
    (first, _second) = csv.DictReader(io.StringIO(as_csv(comparison)))
    assert (first["income_per_t"], first["energy_per_t"], first["lost_oil_per_t"]) == ("1050.0", "", "0.0")
    assert "no price: Minding, Energy" in first["left_out"]
    sheet = load_workbook(io.BytesIO(as_xlsx(comparison))).active
    assert sheet is not None
    heads = [cell.value for cell in sheet[1]]
    assert sheet.cell(2, heads.index("income_per_t") + 1).value == 1050
    out = io.StringIO()
    call_command("compare", "--by", "press", stdout=out)
    assert "Oil and cake (EUR/t)" in out.getvalue()
    assert "P1 earns most" in out.getvalue()
    out = io.StringIO()
    call_command("compare", "--by", "press", "--format", "json", stdout=out)
    assert json.loads(out.getvalue())["lines"][0]["money"]["income_per_t"] == 1050.0


def test_a_us_reader_sees_money_by_the_short_ton(two_presses: None) -> None:
    price("oil_kg", "2026-01-01", "3")
    header, first, *_rest = csv.reader(io.StringIO(as_csv(compare(by=("press",), money_on=TODAY), "us")))
    assert first[header.index("income_per_short_ton")] == "952.543977"  # 1050 * 0.90718474
