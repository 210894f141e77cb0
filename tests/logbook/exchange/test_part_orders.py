"""Orders of parts in a logbook: a file of their own, written only where something was ordered."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest
from django.utils import timezone

from tests.mills.forecast_shop import Shop
from wearlog.equipment.models import PartOrder
from wearlog.logbook.exchange.exporting import export_logbook
from wearlog.logbook.exchange.importing import import_logbook


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
