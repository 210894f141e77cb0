"""Costs per tonne, as far as prices are recorded."""

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
from wearlog.compare.costs import LeftOut, Money
from wearlog.compare.earning import sentences
from wearlog.compare.export import as_csv, as_xlsx
from wearlog.compare.queries import Comparison, compare
from wearlog.equipment.models import Fitting, Part, PartType, Position, Press
from wearlog.runs.models import Price
from wearlog.service.models import Service


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


@pytest.fixture
def two_presses(run: RunMaker) -> None:
    """P1 and P2 press 2 t of flax in 40 and 80 h, with oil and cake weighed; P1's energy is metered."""
    for press, hours in (("P1", "20"), ("P2", "40")):
        for day in ("02", "09"):
            energy = Decimal(100) if press == "P1" else None
            run(press, "flax", f"2026-03-{day} 06:00", hours=hours, kg="1000", oil_kg=Decimal(350),
                cake_kg=Decimal(640), energy_kwh=energy)  # fmt: skip


def test_without_prices_there_are_no_money_columns(two_presses: None) -> None:
    comparison = compare(by=("press",), money=True)
    assert comparison.total.money is None
    assert as_csv(comparison).splitlines()[0].endswith("seed_without_hours_kg")


def test_money_is_told_only_where_it_is_asked_for(two_presses: None) -> None:
    price("oil_kg", "2026-01-01", "3")
    assert compare(by=("press",)).total.money is None
    assert compare(by=("press",), money=True).total.money is not None


def test_costs_and_income_per_tonne_by_hand(two_presses: None) -> None:
    for item, value in (("oil_kg", "3"), ("cake_kg", "0.5"), ("labour_h", "30"), ("energy_kwh", "0.25"),
                        ("seed_kg flax", "0.6")):  # fmt: skip
        price(item, "2026-01-01", value)
    serve("P1", "2026-03-05 08:00", labour_h=Decimal(2), cost=Decimal(20))
    kind = PartType.objects.create(code="D5", kind="die", unit_cost=Decimal(58))
    part = Part.objects.create(code="D1", part_type=kind, retired_on=date(2026, 3, 8), retired_because="worn")
    place = Position.objects.create(press=Press.objects.get(code="P1"), name="die", kind="die")
    Fitting.objects.create(
        part=part, position=place, fitted_at=at("2026-03-01 00:00"), removed_at=at("2026-03-08 00:00")
    )
    comparison = compare(by=("press",), money=True)
    first = money(comparison, "P1")
    # 2 t: a die of 58, work of 20 + 2 h at 30, 200 kWh at 0.25; 700 kg of oil at 3 and 1280 of cake at 0.5.
    assert first.parts_per_t == 29.0
    assert first.work_per_t == 40.0
    assert first.energy_per_t == 25.0
    assert first.cost_per_t == 94.0
    assert first.income_per_t == 1370.0
    assert first.seed_per_t == 600.0
    assert first.left_per_t == 676.0
    assert first.left_per_h == pytest.approx(33.8)  # 2 t in 40 h
    assert first.left_out == ()
    second = money(comparison, "P2")
    assert (second.parts_per_t, second.work_per_t, second.energy_per_t) == (0.0, 0.0, None)
    assert second.left_out == (LeftOut.ENERGY,)
    told = " ".join(sentences(comparison))
    assert "P1 earns most: for each hour it presses it leaves 33.80 EUR, for each tonne 676.00 EUR." in told
    assert "P2 leaves least: 19.25 EUR an hour, 770.00 EUR a tonne." in told
    assert "Not counted, for want of a record or a price: energy (P2)." in told


def test_the_price_of_a_runs_own_day_counts(run: RunMaker) -> None:
    price("oil_kg", "2026-01-01", "2")
    price("oil_kg", "2026-03-05", "4")
    for day in ("04", "05"):
        run("P1", "flax", f"2026-03-{day} 06:00", hours="10", kg="1000", oil_kg=Decimal(300))
    assert compare(by=("press",), money=True).lines[0].money is not None
    assert money(compare(by=("press",), money=True), "P1").income_per_t == 900.0  # (600 + 1200) / 2 t


def test_labour_without_a_price_is_named_for_the_press_that_it_is_missing_for(two_presses: None) -> None:
    price("oil_kg", "2026-01-01", "3")
    serve("P1", "2026-03-05 08:00", labour_h=Decimal(2))
    comparison = compare(by=("press",), money=True)
    assert LeftOut.LABOUR in money(comparison, "P1").left_out
    assert LeftOut.LABOUR not in money(comparison, "P2").left_out
    assert "labour without a price (P1)" in " ".join(sentences(comparison))


def on_both(part: Part, *, until: str, then_until: str) -> None:
    """The part sits on the first press from 1 January on, then on the second from 1 February on."""
    for press, begin, end in (("P1", "2026-01-01", until), ("P2", "2026-02-01", then_until)):
        place = Position.objects.create(press=Press.objects.get(code=press), name="die", kind="die")
        Fitting.objects.create(
            part=part, position=place, fitted_at=at(f"{begin} 00:00"), removed_at=at(f"{end} 00:00")
        )


def test_a_part_without_a_price_is_named(two_presses: None) -> None:
    price("oil_kg", "2026-01-01", "3")
    kind = PartType.objects.create(code="D5", kind="die")
    part = Part.objects.create(code="D1", part_type=kind, retired_on=date(2026, 3, 8), retired_because="worn")
    on_both(part, until="2026-01-10", then_until="2026-02-10")
    comparison = compare(by=("press",), money=True)
    assert all(LeftOut.PARTS in money(comparison, press).left_out for press in ("P1", "P2"))


def test_a_parts_price_is_shared_by_the_days_on_each_press(two_presses: None) -> None:
    kind = PartType.objects.create(code="D5", kind="die", unit_cost=Decimal(80))
    part = Part.objects.create(code="D1", part_type=kind, retired_on=date(2026, 3, 8), retired_because="lost")
    on_both(part, until="2026-01-31", then_until="2026-02-11")
    comparison = compare(by=("press",), money=True)
    # 30 and 10 days of 80: 60 and 20, over 2 t each.
    assert [money(comparison, press).parts_per_t for press in ("P1", "P2")] == [30.0, 10.0]


def test_a_summers_work_counts_for_the_season_it_prepares(run: RunMaker) -> None:
    price("labour_h", "2024-01-01", "10")
    for year in ("2025", "2026"):
        run("P1", "flax", f"{year}-03-02 06:00", hours="10", kg="1000")
    serve("P1", "2025-08-15 08:00", labour_h=Decimal(3))
    comparison = compare(by=("press", "season"), money=True)
    assert [(line.season, line.money and line.money.work_per_t) for line in comparison.lines] == [
        ("2024/25", 0.0),
        ("2025/26", 30.0),
    ]


def test_work_is_spread_over_the_crops_of_its_season_by_their_seed(run: RunMaker) -> None:
    price("labour_h", "2024-01-01", "10")
    run("P1", "flax", "2026-03-02 06:00", hours="10", kg="1000")
    run("P1", "rape", "2026-03-03 06:00", hours="10", kg="3000")
    serve("P1", "2026-03-04 08:00", labour_h=Decimal(8))
    comparison = compare(by=("crop",), money=True)
    assert [line.money and line.money.work_per_t for line in comparison.lines] == [20.0, 20.0]


def test_a_crop_whose_seed_has_no_price_is_left_out_of_what_a_press_earns(run: RunMaker) -> None:
    price("oil_kg", "2024-01-01", "3")
    price("seed_kg flax", "2024-01-01", "0.5")
    run("P1", "flax", "2026-03-02 06:00", hours="10", kg="1000", oil_kg=Decimal(300))
    run("P1", "rape", "2026-03-03 06:00", hours="10", kg="1000", oil_kg=Decimal(400))
    comparison = compare(by=("press",), money=True)
    assert money(comparison, "P1").left_per_t is None
    told = " ".join(sentences(comparison))
    assert "P1 leaves 40.00 EUR for each hour it presses, and 400.00 EUR for each tonne." in told
    assert "Only runs of flax are counted for this: no other crop's seed has a price." in told


def test_without_weighed_oil_nobody_is_told_which_press_earns(run: RunMaker) -> None:
    price("oil_kg", "2024-01-01", "3")
    run("P1", "flax", "2026-03-02 06:00", hours="10", kg="1000")
    told = sentences(compare(by=("press",), money=True))
    assert told[0].startswith("Which press earns can't be said yet: it takes weighed oil and its price")


def test_files_and_terminal_have_the_columns(two_presses: None) -> None:
    price("oil_kg", "2026-01-01", "3")
    comparison = compare(by=("press",), money=True)
    (first, _second) = csv.DictReader(io.StringIO(as_csv(comparison)))
    assert (first["income_per_t"], first["energy_per_t"], first["left_out"]) == (
        "1050.0",
        "",
        "energy, cake, seed",
    )
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
    header, first, *_rest = csv.reader(io.StringIO(as_csv(compare(by=("press",), money=True), "us")))
    assert first[header.index("income_per_short_ton")] == "952.543977"  # 1050 * 0.90718474
