"""The command in small: a few mills of a few kinds, and its table."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from tests.calc.rough.scores import Result, result
from tests.calc.rough.table import BEGIN, END, PAGE, lines, write, write_cases
from tests.calc.rough.work import score_mill


def scored(kind: str, seeds: range, dates: int) -> Result:
    return result(kind, [score_mill(kind, seed, dates) for seed in seeds])


@pytest.mark.parametrize("kind", ["steady", "harvest", "people"])
def test_the_forecast_says_something_of_every_case_and_more_than_the_crude_rule(kind: str) -> None:
    """Two mills tell no more than that; the table is of twenty."""
    found = scored(kind, range(2), 2)
    assert found.cases >= 20
    assert found.missing == 0
    assert 0.4 <= found.coverage.value <= 1.0
    assert found.scores["forecast"] < found.scores["lumped"]


def test_the_table_stands_between_its_marks_and_nothing_else_changes(tmp_path: Path) -> None:
    found = scored("young", range(1), 2)
    page = tmp_path / "page.md"
    page.write_text(f"before\n{BEGIN}\nold\n{END}\nafter\n")
    write([found], 0, 2, page)
    text = page.read_text()
    assert text.startswith(f"before\n{BEGIN}\n")
    assert text.endswith(f"{END}\nafter\n")
    assert "old" not in text
    assert f"| young | {found.cases} |" in text
    assert [line.split()[0] for line in lines([found], head=True)] == ["kind", "young"]


def test_each_case_is_a_line_of_the_file(tmp_path: Path) -> None:
    cases = score_mill("young", 0, 2)
    write_cases(tmp_path / "cases.csv", "young", {0: cases}, begin=True)
    write_cases(tmp_path / "cases.csv", "young", {1: cases}, begin=False)
    rows = list(csv.DictReader((tmp_path / "cases.csv").open()))
    assert len(rows) == 2 * len(cases)
    assert [int(row["ahead"]) for row in rows[: len(cases)]] == [one.came - one.day for one in cases]
    assert all(float(row["forecast early"]) <= float(row["forecast late"]) for row in rows)


def test_the_page_has_the_marks() -> None:
    page = PAGE.read_text()
    assert page.index(BEGIN) < page.index(END)
