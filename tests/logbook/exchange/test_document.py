"""The document for users names what the program takes, and says what the program says."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.logbook.exchange.books import small_book, write_book
from wearlog.logbook.exchange.cells import Code
from wearlog.logbook.exchange.checking import read_book
from wearlog.logbook.exchange.columns import Column, Table
from wearlog.logbook.exchange.tables import TABLES
from wearlog.people.models import Mill

DOCUMENT = (Path(__file__).resolve().parents[3] / "docs" / "logbook-format.md").read_text(encoding="utf-8")


def section(table: Table) -> str:
    """What stands under the heading that names the file, or the file's row where several share a heading."""
    for part in re.split(r"^### ", DOCUMENT, flags=re.MULTILINE)[1:]:
        heading, _, text = part.partition("\n")
        if table.file in heading:
            text = text.partition("\n## ")[0]
            row = next((line for line in text.splitlines() if line.startswith(f"| {table.file} |")), "")
            return row or text
    raise AssertionError(f"{table.file} has no section")


@pytest.mark.parametrize("table", TABLES, ids=lambda table: table.name)
def test_every_column_is_named_and_the_required_ones_are_bold(table: Table) -> None:
    text = section(table)

    for column in table.columns:
        assert re.search(rf"\b{column.name}\b", text), column.name
        assert (f"**{column.name}**" in text) == column.required, column.name


CODED = [
    column
    for table in TABLES
    for column in table.columns
    if isinstance(column.form, Code) and column.name != "edge"  # letters
]


@pytest.mark.parametrize("column", CODED, ids=lambda column: f"{column.model.__name__}.{column.name}")
def test_every_word_that_a_cell_may_hold_is_named(column: Column) -> None:
    assert isinstance(column.form, Code)
    assert [code for code in column.form.known if f"`{code}`" not in DOCUMENT] == []


@pytest.mark.django_db
def test_the_example_of_a_bad_row_is_what_the_program_says(tmp_path: Path) -> None:
    book = small_book()
    book["runs"][0]["seed_kg"] = "180,5"

    _, problems = read_book(write_book(tmp_path, book), zone=Mill.current().zone, progress=lambda what: None)

    assert f"\n    {problems[0]}\n" in DOCUMENT
