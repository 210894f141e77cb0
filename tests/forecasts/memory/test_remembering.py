"""What is due is remembered only as long as the log stays as it is."""

from __future__ import annotations

import threading
from datetime import date

import pytest
from django.db import connection, transaction

from tests.mills.forecast_shop import Shop, day
from wearlog.forecasts.items import DueItem
from wearlog.forecasts.memory import queries
from wearlog.history import versions

DAY = date(2026, 3, 27)


@pytest.fixture
def lasting_shop(transactional_db: None) -> Shop:
    """A mill whose rows are committed, as in life."""
    shop = Shop()
    shop.press("P1", commissioned_on=day("2026-03-01"))
    shop.rule("check magnet", "inspect", every_days=30)
    versions.touch()
    return shop


def reads(work: object) -> int:
    with connection.execute_wrapper(count := Counter()):
        work()  # type: ignore[operator]
    return count.number


class Counter:
    def __init__(self) -> None:
        self.number = 0

    def __call__(self, execute, sql, params, many, context):  # type: ignore[no-untyped-def]
        self.number += 1
        return execute(sql, params, many, context)


def test_a_second_question_about_the_same_day_reads_versions_and_cautions_and_nothing_else(
    lasting_shop: Shop,
) -> None:
    queries.due_items(as_of=DAY)
    assert reads(lambda: queries.due_items(as_of=DAY)) == 3
    assert reads(lambda: queries.items_without_cautions(as_of=DAY)) == 1


def test_a_write_makes_it_read_again(lasting_shop: Shop) -> None:
    assert queries.due_items(as_of=DAY)[0].due_on == date(2026, 3, 31)
    with transaction.atomic():
        lasting_shop.serve("2026-03-20 08:00", "inspect")
        versions.touch()
    assert queries.due_items(as_of=DAY)[0].due_on == date(2026, 4, 19)


def test_each_day_has_its_own_answer_and_only_so_many_are_kept(
    lasting_shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(queries._KEPT, "_most", 8)
    for number in range(1, 30):
        assert queries.due_items(as_of=date(2026, 3, number))[0].left_days == 31 - number
    assert len(queries._KEPT) == 8


def test_within_a_transaction_nothing_is_kept_since_it_may_be_rolled_back(lasting_shop: Shop) -> None:
    with transaction.atomic():
        lasting_shop.serve("2026-03-20 08:00", "inspect")
        versions.touch()
        assert queries.due_items(as_of=DAY)[0].due_on == date(2026, 4, 19)
        transaction.set_rollback(True)
    with transaction.atomic():
        lasting_shop.serve("2026-03-10 08:00", "inspect")
        versions.touch()
    assert queries.due_items(as_of=DAY)[0].due_on == date(2026, 4, 9)


def test_the_caller_may_change_the_list_it_got(lasting_shop: Shop) -> None:
    queries.due_items(as_of=DAY).clear()
    assert len(queries.due_items(as_of=DAY)) == 1


def test_many_threads_get_the_same_answer(lasting_shop: Shop) -> None:
    answers: list[list[DueItem]] = []

    def ask() -> None:
        answers.append(queries.due_items(as_of=DAY))
        connection.close()

    threads = [threading.Thread(target=ask) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(answers) == 8
    assert all(answer == answers[0] for answer in answers)


def test_for_a_part_nothing_is_computed_for_other_presses(lasting_shop: Shop) -> None:
    screw = lasting_shop.part("S1", lasting_shop.type("S", "screw"))
    lasting_shop.fit(screw, "2026-03-01")
    other = lasting_shop.press("P2")
    lasting_shop.rule("grease", "lubricate", every_h=100)
    lasting_shop.rule("inspect", "inspect", kind="screw", every_h=100)
    versions.touch()
    assert [one.rule for one in queries.items_of_part(screw.id, as_of=DAY)] == ["inspect"]
    assert set(queries.cached_items(as_of=DAY)) == {lasting_shop.press("P1").id}
    whole = [one for one in queries.due_items(as_of=DAY) if one.part_id == screw.id]
    assert queries.items_of_part(screw.id, as_of=DAY) == whole
    assert other.id in queries.cached_items(as_of=DAY)


def test_items_of_a_press_and_of_a_part_are_those_of_the_whole(shop: Shop) -> None:
    screw = shop.part("S1", shop.type("S", "screw"))
    shop.fit(screw, "2026-03-01")
    shop.press("P2")
    shop.rule("inspect", "inspect", kind="screw", every_h=100)
    shop.rule("grease", "lubricate", every_h=100)
    assert [one.rule for one in queries.items_of_part(screw.id, as_of=DAY)] == ["inspect"]
    assert sorted(one.rule for one in queries.items_of_press(shop.press("P1").id, as_of=DAY)) == [
        "grease",
        "inspect",
    ]
    assert [one.rule for one in queries.items_of_press(shop.press("P2").id, as_of=DAY)] == ["grease"]
