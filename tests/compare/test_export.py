"""Files that a spreadsheet opens without running anything."""

from __future__ import annotations

import csv
import io
from decimal import Decimal

import pytest
from openpyxl import load_workbook

from tests.mills.run_maker import RunMaker
from wearlog.compare.export import as_csv, as_xlsx
from wearlog.compare.queries import compare
from wearlog.equipment.models import Press


def table(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


def test_numbers_stay_numbers_and_an_unknown_figure_is_empty(run: RunMaker) -> None:
    run("P1", "flax", "2026-03-01 06:00", hours="5", kg="100")
    (row,) = table(as_csv(compare(by=("press",))))
    assert row["press"] == "P1"
    assert float(row["hours_per_tonne"]) == 50.0
    assert float(row["seed_t"]) == 0.1
    assert row["oil_pct"] == ""


def test_lines_end_as_rfc_4180_says(run: RunMaker) -> None:
    run("P1", "flax", "2026-03-01 06:00", hours="5", kg="100")
    text = as_csv(compare(by=("press",)))
    assert text.count("\r\n") == 2
    assert "\n" not in text.replace("\r\n", "")


def test_a_us_reader_gets_pounds_and_short_tons_named_in_the_header(run: RunMaker) -> None:
    run("P1", "flax", "2026-03-01 06:00", hours="24", kg="453.592370")
    (row,) = table(as_csv(compare(by=("press",)), "us"))
    assert float(row["lb_per_h"]) == pytest.approx(41.666667)  # 1,000 lb in 24 h
    assert float(row["seed_short_ton"]) == pytest.approx(0.5)
    assert float(row["hours_per_short_ton"]) == pytest.approx(48.0)


@pytest.mark.parametrize("name", ["=1+1", "+1", "-1", "@SUM(A1)", "'quoted", "\tx"])
def test_a_name_that_looks_like_a_formula_is_text_in_csv(run: RunMaker, name: str) -> None:
    run("P1", "flax", "2026-03-01 06:00", hours="5", kg="100")
    Press.objects.update(name=name)
    (row,) = table(as_csv(compare(by=("press",))))
    assert row["press"] == f"'{name}"


def test_a_plain_name_is_left_as_it_is(run: RunMaker) -> None:
    run("P1", "flax", "2026-03-01 06:00", hours="5", kg="100")
    Press.objects.update(name="Press 2")
    (row,) = table(as_csv(compare(by=("press",))))
    assert row["press"] == "Press 2"


def test_a_name_that_looks_like_a_formula_is_text_in_xlsx(run: RunMaker) -> None:
    run("P1", "flax", "2026-03-01 06:00", hours="5", kg="100", oil_kg=Decimal("30"))
    Press.objects.update(name="=HYPERLINK(1)")
    sheet = load_workbook(io.BytesIO(as_xlsx(compare(by=("press",))))).active
    assert sheet is not None
    header = [cell.value for cell in sheet[1]]
    row = dict(zip(header, sheet[2], strict=True))
    assert row["press"].value == "=HYPERLINK(1)"
    assert row["press"].data_type == "s"
    assert row["press"].quotePrefix
    assert row["hours_per_tonne"].value == 50
    assert row["hours_per_tonne"].data_type == "n"
    assert row["oil_pct"].value == 30


def test_a_name_with_a_control_character_still_gives_a_file(run: RunMaker) -> None:
    run("P1", "flax", "2026-03-01 06:00", hours="5", kg="100")
    Press.objects.update(name="bell\x07")
    sheet = load_workbook(io.BytesIO(as_xlsx(compare(by=("press",))))).active
    assert sheet is not None
    assert sheet["A2"].value == "bell\ufffd"
