"""Once a day past ranges are held to what came, and those to come are widened where they held too seldom."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from django.core.management import call_command

from tests.mills.dies_in_turn import many
from tests.mills.forecast_shop import Shop, day, when
from wearlog.equipment.models import PartType
from wearlog.forecasts import tasks
from wearlog.forecasts.items import DueItem
from wearlog.forecasts.memory.queries import due_items
from wearlog.forecasts.models import ForecastSnapshot, Replay
from wearlog.forecasts.track.learning import learn, learned_today
from wearlog.forecasts.track.record import Past, track_record
from wearlog.forecasts.track.replays import replay, stored
from wearlog.history.log import load_log
from wearlog.history.models import Widening
from wearlog.history.record import load
from wearlog.runs.models import Run

NOW = when("2026-06-02 04:00")


@pytest.fixture
def die(shop: Shop) -> PartType:
    return shop.type("D5", "die", edges=2, new_mm=5.0, limit_mm=5.4, expected_life_kg=40_000.0)


def many_lives(shop: Shop, die: PartType) -> None:
    """26 dies one after another, ungauged, 90 days each."""
    for number in range(26):
        begun = day("2020-01-01") + timedelta(days=90 * number)
        end = begun + timedelta(days=90)
        part = shop.part(f"D-{number:02}", die, retired_on=end, retired_because="worn")
        shop.fit(part, f"{begun} 00:30", f"{end} 00:15", edge="A", position="die")
    shop.runs("2020-01-01", 26 * 90)
    shop.plan("2020-01-01", "2027-12-31", 500.0 * 26 * 90)


def at_limit(shop: Shop, die: PartType) -> None:
    """A die that has taken half of its life, and the rule that asks for its limit."""
    part = shop.part("D-1", die)
    shop.fit(part, "2026-01-01", edge="A", position="die")
    shop.runs("2026-01-01", 40)
    shop.gauge("2026-02-05", part, 5.2, edge="A")
    shop.plan("2026-01-01", "2026-12-31", 365 * 500)
    shop.rule("die at limit", "flip", kind="die", at_limit=True, lead_days=7)


def widen(since: str, factor: float) -> None:
    Widening.objects.create(since=day(since), factor=factor, judged=24, checked_on=day(since))


def item(on: str) -> DueItem:
    return next(one for one in due_items(as_of=day(on)) if one.trigger == "limit")


def test_a_range_is_widened_about_its_middle_and_says_so(shop: Shop, die: PartType) -> None:
    at_limit(shop, die)
    plain = item("2026-02-10")
    assert plain.early_on is not None
    assert plain.due_on is not None
    assert plain.late_on is not None
    widen("2026-02-01", 1.5)
    wide = item("2026-02-10")
    assert wide.due_on == plain.due_on
    assert wide.late_on is not None
    late = (plain.late_on - plain.due_on).days * 1.5
    assert late <= (wide.late_on - plain.due_on).days < late + 1
    assert wide.early_on is not None
    assert wide.early_on <= plain.early_on
    assert "1.5 times as wide as worked out, since past ranges held too seldom here" in wide.why
    assert "times as wide" not in plain.why


def test_a_limit_that_is_still_to_come_is_not_moved_into_the_past(shop: Shop, die: PartType) -> None:
    at_limit(shop, die)
    widen("2026-02-01", 3)
    assert item("2026-02-25").early_on == day("2026-02-26")


def test_what_was_learned_later_changes_no_earlier_forecast(shop: Shop, die: PartType) -> None:
    at_limit(shop, die)
    before = item("2026-02-10")
    widen("2026-02-11", 2)
    assert item("2026-02-10") == before
    assert load(day("2026-02-10")).widening == 1
    assert load(day("2026-02-11")).widening == 2


def test_ranges_that_held_too_seldom_widen_those_to_come(shop: Shop, die: PartType) -> None:
    many_lives(shop, die)
    learn(at=NOW)
    assert Widening.objects.get().factor == 1
    # The same days, but as a model would have told them that is sure of itself and 12 days late.
    for row in Replay.objects.all():
        row.said = [
            [part, edge, shifted(mid, 8), shifted(mid, 12), shifted(mid, 15), lumped, basis]
            for part, edge, _early, mid, _late, lumped, basis in row.said
        ]
        row.save()
    Widening.objects.all().delete()
    learn(at=NOW)
    row = Widening.objects.get()
    assert row.since == day("2026-06-02")
    # Half a range is 4 days on the early side; the real middles are within 2 days of the day that came.
    assert 10 / 4 <= row.factor <= 3
    assert row.judged >= 20
    assert load(day("2026-06-01")).widening == 1
    assert load(day("2026-06-02")).widening == row.factor


def shifted(text: str | None, days: int) -> str | None:
    return None if text is None else (day(text) + timedelta(days=days)).isoformat()


def test_fewer_than_twenty_finished_edges_widen_nothing(shop: Shop, die: PartType) -> None:
    many(shop, die)
    learn(at=NOW)
    row = Widening.objects.get()
    assert (row.factor, row.judged) == (1.0, 6)


def test_what_is_stored_is_what_the_log_of_that_day_says(shop: Shop, die: PartType) -> None:
    many(shop, die)
    learn(at=NOW)
    days = list(Replay.objects.values_list("day", flat=True))
    assert len(days) == len(Past.of(load_log(), day("2026-06-01")).days) > 10
    for past, said in stored(load_log(), days, checked=True).items():
        assert said == replay(load(past))


def test_a_widened_forecast_is_judged_by_what_it_was_before(shop: Shop, die: PartType) -> None:
    many(shop, die)
    before = replay(load(day("2025-05-01")))
    widen("2025-01-01", 3)
    assert replay(load(day("2025-05-01"))) == before


def test_a_correction_makes_the_days_after_it_be_replayed_and_no_others(shop: Shop, die: PartType) -> None:
    many(shop, die)
    learn(at=NOW)
    names = dict(Replay.objects.values_list("day", "fingerprint"))
    run = Run.objects.get(started_at=when("2025-09-01 06:00"))
    run.seed_kg *= 2
    run.save()
    assert set(stored(load_log(), names, checked=True)) == {one for one in names if one < day("2025-09-01")}
    learn(at=NOW + timedelta(days=1))
    after = dict(Replay.objects.values_list("day", "fingerprint"))
    changed = {one for one in names if after[one] != names[one]}
    assert changed == {one for one in names if one >= day("2025-09-01")}
    assert set(stored(load_log(), names, checked=True)) == set(names)


def test_learning_that_is_interrupted_goes_on_where_it_stopped(shop: Shop, die: PartType) -> None:
    many(shop, die)
    turns = iter([True, True, False])
    assert not learn(at=NOW, go_on=lambda: next(turns))
    assert Replay.objects.count() == 2
    assert not learned_today(at=NOW)
    first = list(Replay.objects.values_list("pk", flat=True))
    assert learn(at=NOW)
    assert learned_today(at=NOW)
    assert set(first) <= set(Replay.objects.values_list("pk", flat=True))


def test_a_day_that_asks_for_the_same_adds_no_row(shop: Shop, die: PartType) -> None:
    many(shop, die)
    learn(at=NOW)
    assert not learned_today(at=NOW + timedelta(days=1))
    learn(at=NOW + timedelta(days=1))
    assert [(row.since, row.checked_on) for row in Widening.objects.all()] == [
        (day("2026-06-02"), day("2026-06-03"))
    ]


def test_the_page_takes_stored_replays_as_they_are_and_the_command_checks_them(
    shop: Shop, die: PartType
) -> None:
    many(shop, die)
    learn(at=NOW)
    Replay.objects.update(said=[], fingerprint="of another log")
    as_stored = track_record(as_of=day("2026-06-01"), stored_only=True)
    assert as_stored.leads[30].edges == 0
    assert track_record(as_of=day("2026-06-01")).leads[30].edges == 6


def test_the_page_does_not_wait_for_replays_that_are_not_made_yet(shop: Shop, die: PartType) -> None:
    many(shop, die)
    turns = iter([True] * 4 + [False])
    learn(at=NOW, go_on=lambda: next(turns))
    found = track_record(as_of=day("2026-06-01"), stored_only=True)
    assert found.replayed == 4
    assert found.missing == len(Past.of(load_log(), day("2026-06-01")).days) - 4
    learn(at=NOW)
    assert track_record(as_of=day("2026-06-01"), stored_only=True).missing == 0


def test_the_task_learns_once_a_day(shop: Shop, die: PartType) -> None:
    many(shop, die)
    assert tasks.learn_from_past() is True
    assert Widening.objects.count() == 1
    assert tasks.learn_from_past() is False


def test_the_command_learns_and_stores(shop: Shop, die: PartType) -> None:
    many(shop, die)
    call_command("refresh_forecasts")
    assert Widening.objects.count() == 1
    assert ForecastSnapshot.objects.filter(as_of__gte=date(2026, 6, 2)).exists()
