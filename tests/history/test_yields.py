"""Oil, cake and energy of runs stand beside the columns that forecasts read."""

from __future__ import annotations

from decimal import Decimal

import numpy as np
import pytest

from tests.mills.forecast_shop import Shop
from wearlog.compare import runtable
from wearlog.history import versions
from wearlog.history.log import load_log
from wearlog.history.runs import runs_and_readings
from wearlog.history.yields import ANALYSED
from wearlog.runs.models import Run


@pytest.fixture
def lasting_shop(transactional_db: None) -> Shop:
    """A mill whose rows are committed, as in life, with a run at each of two presses."""
    shop = Shop()
    for press in ("P1", "P2"):
        shop.press(press)
        shop.run("2026-03-02 06:00", 5, 500, press=press)
    Run.objects.update(oil_kg=Decimal("170.5"), cake_oil_pct=Decimal("9.5"))
    versions.touch()
    return shop


def test_they_come_in_the_order_asked_for_and_are_nan_where_nothing_is_on_record(lasting_shop: Shop) -> None:
    press_id = lasting_shop.press("P1").id
    key = Run.objects.get(press_id=press_id).pk
    found = ANALYSED.of({press_id: np.array([key + 100, key])})[press_id]
    np.testing.assert_array_equal(found["oil_kg"], [np.nan, 170.5])
    np.testing.assert_array_equal(found["cake_oil_pct"], [np.nan, 9.5])
    np.testing.assert_array_equal(found["seed_oil_pct"], [np.nan, np.nan])


def test_a_corrected_oil_weight_is_in_the_table_at_once(lasting_shop: Shop) -> None:
    assert runtable.load().oil_kg.tolist() == [170.5, 170.5]
    Run.objects.filter(press__code="P2").update(oil_kg=Decimal(180))
    versions.touch(runs_of=[lasting_shop.press("P2").id])
    assert runtable.load().oil_kg.tolist() == [170.5, 180]


def test_runs_that_came_in_past_the_door_are_in_the_table_though_the_forecast_kept_the_press(
    lasting_shop: Shop,
) -> None:
    load_log()
    assert runtable.load().seed_kg.tolist() == [500, 500]
    lasting_shop.run("2026-03-03 06:00", 4, 450, press="P2")
    Run.objects.filter(seed_kg=450).update(oil_kg=Decimal(150))
    table = runtable.load()
    assert table.seed_kg.tolist() == [500, 500, 450]
    assert table.oil_kg.tolist() == [170.5, 170.5, 150]


def test_another_press_is_not_read_again_after_an_entry(lasting_shop: Shop) -> None:
    first, second = lasting_shop.press("P1").id, lasting_shop.press("P2").id
    before = runs_and_readings([first, second])
    versions.touch(runs_of=[second])
    after = runs_and_readings([first, second])
    assert after[first] is before[first]
    assert after[second] is not before[second]
