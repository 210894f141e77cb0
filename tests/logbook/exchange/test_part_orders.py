"""Orders of parts in a logbook: a file of their own, written only where something was ordered."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest
from django.utils import timezone

from tests.mills.forecast_shop import Shop
from wearlog.equipment.models import Part, PartOrder, PartType
from wearlog.logbook.exchange.exporting import export_logbook
from wearlog.logbook.exchange.importing import import_logbook
from wearlog.logbook.exchange.problems import BadLogbook


@pytest.fixture
def ordered(db: None) -> PartOrder:
    die = Shop().type("D5", "die", edges=2)
    return PartOrder.objects.create(
        ref="o-1", part_type=die, count=4, ordered_on=date(2026, 3, 2), supplier="the turner", note="by post"
    )


def test_an_order_comes_back_from_a_logbook(ordered: PartOrder, tmp_path: Path) -> None:
    export_logbook(by=None, target=tmp_path / "book")
    text = (tmp_path / "book" / "part_orders.csv").read_text(encoding="utf-8")
    assert text.splitlines() == [
        "ref,part_type,count,ordered_on,expected_on,arrived_on,supplier,note",
        "o-1,D5,4,2026-03-02,,,the turner,by post",
    ]
    PartOrder.objects.all().delete()
    import_logbook(by=None, at=timezone.now(), source=tmp_path / "book")
    back = PartOrder.objects.get()
    assert (back.ref, back.part_type.code, back.count, back.ordered_on, back.arrived_on) == (
        "o-1",
        "D5",
        4,
        date(2026, 3, 2),
        None,
    )
    assert (back.supplier, back.note) == ("the turner", "by post")


def test_a_voided_order_stays_out(ordered: PartOrder, tmp_path: Path) -> None:
    PartOrder.objects.update(voided_at=timezone.now(), void_reason="ordered twice")
    export_logbook(by=None, target=tmp_path / "book")
    assert not (tmp_path / "book" / "part_orders.csv").exists()


def test_where_nothing_was_ordered_there_is_no_such_file(db: None, tmp_path: Path) -> None:
    Shop()
    export_logbook(by=None, target=tmp_path / "book")
    assert not (tmp_path / "book" / "part_orders.csv").exists()
    assert (tmp_path / "book" / "plan.csv").exists()


def arrive(order: PartOrder, code: str) -> Part:
    PartOrder.objects.filter(pk=order.pk).update(arrived_on=date(2026, 3, 20), unit_cost=Decimal("58.5"))
    return Part.objects.create(code=code, part_type=order.part_type, came_with=order)


def test_what_came_with_an_order_is_told_by_the_logbook_and_comes_back(
    ordered: PartOrder, tmp_path: Path
) -> None:
    arrive(ordered, "D5-01")
    Part.objects.create(code="D5-00", part_type=ordered.part_type)
    export_logbook(by=None, target=tmp_path / "book")
    lines = (tmp_path / "book" / "parts.csv").read_text(encoding="utf-8").splitlines()
    came = [dict(zip(lines[0].split(","), line.split(","), strict=True))["came_with"] for line in lines[1:]]
    assert came == ["", "o-1"]
    Part.objects.all().delete()
    PartOrder.objects.all().delete()
    import_logbook(by=None, at=timezone.now(), source=tmp_path / "book")
    back = PartOrder.objects.get()
    assert [part.code for part in back.parts.all()] == ["D5-01"]
    assert (back.arrived_on, back.unit_cost) == (date(2026, 3, 20), Decimal("58.5"))
    assert Part.objects.get(code="D5-00").came_with is None


def test_a_logbook_in_which_nothing_came_with_an_order_lacks_the_column(
    ordered: PartOrder, tmp_path: Path
) -> None:
    Part.objects.create(code="D5-00", part_type=ordered.part_type)
    export_logbook(by=None, target=tmp_path / "book")
    assert "came_with" not in (tmp_path / "book" / "parts.csv").read_text(encoding="utf-8")
    assert "unit_cost" not in (tmp_path / "book" / "part_orders.csv").read_text(encoding="utf-8")


def refusals(tmp_path: Path, *parts: str) -> list[str]:
    book = tmp_path / "book"
    book.mkdir(exist_ok=True)
    (book / "parts.csv").write_text("\n".join(["part,part_type,came_with", *parts, ""]), encoding="utf-8")
    with pytest.raises(BadLogbook) as refused:
        import_logbook(by=None, at=timezone.now(), source=book)
    return [str(problem) for problem in refused.value.rows]


def test_parts_come_with_an_order_for_their_type_that_is_there_and_has_arrived(
    ordered: PartOrder, tmp_path: Path
) -> None:
    (early,) = refusals(tmp_path, "D5-01,D5,o-1")
    assert "has not arrived" in early
    PartType.objects.create(code="D6", kind="die")
    arrive(ordered, "D5-01")
    (other,) = refusals(tmp_path, "D6-01,D6,o-1")
    assert 'parts of the type "D5"' in other
    (unknown,) = refusals(tmp_path, "D5-02,D5,o-9")
    assert "there is none of this name" in unknown


def test_parts_do_not_come_with_an_order_that_was_crossed_out_here(
    ordered: PartOrder, tmp_path: Path
) -> None:
    PartOrder.objects.update(
        arrived_on=date(2026, 3, 20), voided_at=timezone.now(), void_reason="ordered twice"
    )
    (problem,) = refusals(tmp_path, "D5-01,D5,o-1")
    assert "crossed out here" in problem


@pytest.mark.parametrize(
    ("line", "column"),
    [
        ("o-1,D5,4,2026-03-02,,the turner,by post,58.5", "arrived_on"),
        ("o-1,D6,4,2026-03-02,2026-03-20,the turner,by post,58.5", "part_type"),
    ],
)
def test_an_order_whose_parts_are_stored_here_stays_arrived_and_of_their_type(
    ordered: PartOrder, tmp_path: Path, line: str, column: str
) -> None:
    PartType.objects.create(code="D6", kind="die")
    arrive(ordered, "D5-01")
    book = tmp_path / "book"
    book.mkdir()
    head = "ref,part_type,count,ordered_on,arrived_on,supplier,note,unit_cost"
    (book / "part_orders.csv").write_text(f"{head}\n{line}\n", encoding="utf-8")
    with pytest.raises(BadLogbook) as refused:
        import_logbook(by=None, at=timezone.now(), source=book, on_conflict="replace")
    (problem,) = refused.value.rows
    assert (problem.column, 'part "D5-01" came with this order' in problem.reason) == (column, True)
