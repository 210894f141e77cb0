"""Once a day past ranges are held to what came, and both ends of those to come are moved accordingly."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from django.core.management import call_command
from django.db import IntegrityError, transaction
from django.db.models import F

from tests.mills.dies_in_turn import many
from tests.mills.forecast_shop import Shop, day, when
from wearlog.calc.conformal import RangeFactors, SideFactors
from wearlog.equipment.models import PartType
from wearlog.forecasts import tasks
from wearlog.forecasts.items import DueItem
from wearlog.forecasts.memory.queries import due_items
from wearlog.forecasts.models import ForecastSnapshot, Replay
from wearlog.forecasts.track.learning import learn, learned_today
from wearlog.forecasts.track.record import Past, track_record
from wearlog.forecasts.track.replays import replay, stored
from wearlog.history.log import load_log
from wearlog.history.models import LearnedFactors
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


def move(since: str, early: float, late: float, part_type: PartType | None = None) -> None:
    LearnedFactors.objects.create(
        since=day(since), part_type=part_type, early=early, late=late, judged=24, checked_on=day(since)
    )


def item(on: str) -> DueItem:
    return next(one for one in due_items(as_of=day(on)) if one.trigger == "limit")


def days_of(found: DueItem) -> tuple[date, date, date]:
    assert found.early_on is not None
    assert found.due_on is not None
    assert found.late_on is not None
    return found.early_on, found.due_on, found.late_on


def test_both_ends_are_moved_about_the_middle_and_the_sentence_says_so(shop: Shop, die: PartType) -> None:
    at_limit(shop, die)
    plain = item("2026-02-10")
    early, due, late = days_of(plain)
    move("2026-02-01", early=1.2, late=1.5)
    moved = item("2026-02-10")
    new_early, new_due, new_late = days_of(moved)
    assert new_due == due
    assert (late - due).days * 1.5 <= (new_late - due).days < (late - due).days * 1.5 + 1
    assert (due - early).days * 1.2 <= (due - new_early).days < (due - early).days * 1.2 + 1
    assert (
        "by your own record the early day was moved to 1.20 times its distance from the middle, the late day "
        "to 1.50 times" in moved.why
    )
    assert "your own record" not in plain.why


def test_one_end_may_be_moved_alone_and_a_range_may_become_narrower(shop: Shop, die: PartType) -> None:
    at_limit(shop, die)
    early, due, late = days_of(item("2026-02-10"))
    move("2026-02-01", early=0.5, late=1)
    moved = item("2026-02-10")
    new_early, new_due, new_late = days_of(moved)
    assert (new_due, new_late) == (due, late)
    assert (due - early).days * 0.5 <= (due - new_early).days < (due - early).days * 0.5 + 1
    assert new_early > early
    assert (
        "by your own record the early day was moved to 0.50 times its distance from the middle." in moved.why
    )
    move("2026-02-02", early=1, late=0.5)
    moved = item("2026-02-10")
    assert days_of(moved)[:2] == (early, due)
    assert due < days_of(moved)[2] < late
    assert (
        "by your own record the late day was moved to 0.50 times its distance from the middle." in moved.why
    )


def test_a_part_type_with_its_own_record_goes_by_that(shop: Shop, die: PartType) -> None:
    at_limit(shop, die)
    move("2026-02-01", early=1, late=2)
    pooled = item("2026-02-10")
    move("2026-02-01", early=1, late=3, part_type=die)
    own = item("2026-02-10")
    assert days_of(own)[2] > days_of(pooled)[2]
    assert "3.00 times" in own.why
    assert load(day("2026-02-10")).range_factors.of(die.pk + 1).late == 2


def test_a_late_day_that_is_still_to_come_is_not_moved_into_the_past(shop: Shop, die: PartType) -> None:
    at_limit(shop, die)
    shop.runs("2026-02-10", 90)
    first = days_of(item("2026-02-10"))[1]
    for on in (first + timedelta(days=number) for number in range(60)):
        _, mid, late = days_of(item(on.isoformat()))
        if mid < on and (on - mid) > (late - on) > timedelta(days=1):
            break
    else:
        pytest.fail("there is no day in the second half of the late side")
    move("2026-02-01", early=1, late=0.5)
    assert days_of(item(on.isoformat()))[2] == on + timedelta(days=1)


def test_a_limit_that_is_still_to_come_is_not_moved_into_the_past(shop: Shop, die: PartType) -> None:
    at_limit(shop, die)
    move("2026-02-01", early=3, late=3)
    assert item("2026-02-25").early_on == day("2026-02-26")


def test_what_was_learned_later_changes_no_earlier_forecast(shop: Shop, die: PartType) -> None:
    at_limit(shop, die)
    before = item("2026-02-10")
    move("2026-02-11", early=2, late=0.5)
    move("2026-02-11", early=3, late=1, part_type=die)
    move("2026-02-13", early=1.5, late=1.5)
    assert item("2026-02-10") == before
    assert load(day("2026-02-10")).range_factors == RangeFactors()
    assert load(day("2026-02-12")).range_factors == RangeFactors(
        pooled=SideFactors(early=2, late=0.5), own={die.pk: SideFactors(early=3, late=1)}
    )
    # On the 13th the type no longer had a record of its own.
    assert load(day("2026-02-13")).range_factors == RangeFactors(pooled=SideFactors(early=1.5, late=1.5))


def told(move_by: tuple[int, int, int]) -> None:
    """The stored days, but as a model alone would have told them that is off by so many days in each."""
    for row in Replay.objects.all():
        row.said = [
            [part, edge, *(shifted(mid, by) for by in move_by), lumped, basis, {}]
            for part, edge, _early, mid, _late, lumped, basis, _others in row.said
        ]
        row.save()
    LearnedFactors.objects.all().delete()


def test_ranges_that_held_too_seldom_on_one_side_are_moved_out_there_and_in_on_the_other(
    shop: Shop, die: PartType
) -> None:
    many_lives(shop, die)
    learn(at=NOW)
    told((8, 12, 15))
    learn(at=NOW)
    pooled, own = LearnedFactors.objects.order_by(F("part_type_id").asc(nulls_first=True))
    assert pooled.since == own.since == day("2026-06-02")
    assert own.part_type == die
    assert 20 <= own.judged == pooled.judged < 40
    # Half a range is 4 days on the early side; the real middles are within 2 days of the day that came. Of 20
    # to 40 edges the logarithm counts by that many fortieths.
    share = pooled.judged / 40
    assert (10 / 4) ** share <= pooled.early <= 3**share
    assert pooled.late == pytest.approx(0.5**share)
    assert (own.early, own.late) == (pooled.early, pooled.late)
    assert load(day("2026-06-01")).range_factors == RangeFactors()
    assert load(day("2026-06-02")).range_factors.of(die.pk) == SideFactors(early=own.early, late=own.late)


def test_ranges_that_always_held_become_narrower(shop: Shop, die: PartType) -> None:
    many_lives(shop, die)
    learn(at=NOW)
    told((-20, 0, 20))
    learn(at=NOW)
    row = LearnedFactors.objects.get(part_type=die)
    assert row.early == row.late == pytest.approx(0.5 ** (row.judged / 40))


def shifted(text: str | None, days: int) -> str | None:
    return None if text is None else (day(text) + timedelta(days=days)).isoformat()


def test_fewer_than_eight_finished_edges_change_nothing(shop: Shop, die: PartType) -> None:
    many(shop, die)
    learn(at=NOW)
    row = LearnedFactors.objects.get()
    assert (row.part_type, row.early, row.late, row.judged) == (None, 1.0, 1.0, 6)


def test_what_is_stored_is_what_the_log_of_that_day_says(shop: Shop, die: PartType) -> None:
    many(shop, die)
    learn(at=NOW)
    days = list(Replay.objects.values_list("day", flat=True))
    assert len(days) == len(Past.of(load_log(), day("2026-06-01")).days) > 10
    for past, said in stored(load_log(), days, checked=True).items():
        assert said == replay(load(past))


def test_a_corrected_forecast_is_judged_by_what_it_was_before(shop: Shop, die: PartType) -> None:
    many(shop, die)
    before = replay(load(day("2025-05-01")))
    move("2025-01-01", early=0.5, late=3)
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
    assert [(row.since, row.checked_on) for row in LearnedFactors.objects.all()] == [
        (day("2026-06-02"), day("2026-06-03"))
    ]


def test_a_second_learning_of_the_day_takes_the_place_of_the_first(shop: Shop, die: PartType) -> None:
    many_lives(shop, die)
    learn(at=NOW)
    move("2026-05-01", early=2, late=2)
    first = set(LearnedFactors.objects.values_list("since", "part_type", "early", "late"))
    told((8, 12, 15))
    learn(at=NOW)
    LearnedFactors.objects.filter(since=day("2026-06-02"), part_type=None).update(early=1.0)
    learn(at=NOW)
    assert LearnedFactors.objects.filter(since=day("2026-06-02")).count() == 2
    assert not first & set(LearnedFactors.objects.values_list("since", "part_type", "early", "late"))


def test_the_table_takes_one_row_of_a_kind_a_day_and_no_factor_out_of_bounds(
    shop: Shop, die: PartType
) -> None:
    move("2026-02-01", early=1, late=2)
    move("2026-02-01", early=1, late=2, part_type=die)
    for part_type in (None, die):
        with pytest.raises(IntegrityError), transaction.atomic():
            move("2026-02-01", early=1, late=1, part_type=part_type)
    for early, late in ((0.4, 1), (1, 3.1)):
        with pytest.raises(IntegrityError), transaction.atomic():
            move("2026-02-03", early=early, late=late)


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
    assert LearnedFactors.objects.count() == 1
    assert tasks.learn_from_past() is False


def test_the_command_learns_and_stores(shop: Shop, die: PartType) -> None:
    many(shop, die)
    call_command("refresh_forecasts")
    assert LearnedFactors.objects.count() == 1
    assert ForecastSnapshot.objects.filter(as_of__gte=date(2026, 6, 2)).exists()


def heard(since: str, **weights: float) -> None:
    LearnedFactors.objects.create(since=day(since), weights=weights, judged=24, checked_on=day(since))


def test_a_day_is_mixed_of_the_models_that_told_past_limits_and_the_sentence_says_of_which(
    shop: Shop, die: PartType
) -> None:
    at_limit(shop, die)
    alone = item("2026-02-10")
    assert "mixed" not in alone.why
    heard("2026-02-01", present=0.6, steps=0.4)
    both = item("2026-02-10")
    assert (
        "by how past limits were told the days are mixed of 60 % the wear model, 40 % wear in chance steps."
        in both.why
    )
    heard("2026-02-02", steps=1.0)
    steps = item("2026-02-10")
    assert days_of(steps) != days_of(alone)
    for given, one, other in zip(days_of(both), days_of(alone), days_of(steps), strict=True):
        assert min(one, other) <= given <= max(one, other)
    # What was learned on a day never touches a forecast of an earlier one.
    assert days_of(item("2026-01-31")) == days_of(item("2026-01-31"))
    assert load(day("2026-01-31")).range_factors == RangeFactors()
    assert load(day("2026-02-01")).range_factors.weights == {"present": 0.6, "steps": 0.4}


def test_what_every_model_says_is_stored_with_the_day_and_read_back(shop: Shop, die: PartType) -> None:
    many_lives(shop, die)
    learn(at=NOW)
    log = load_log()
    row = Replay.objects.order_by("day").last()
    assert row is not None
    (said,) = stored(log, [row.day], checked=True)[row.day].values()
    assert set(said.others) == {"calm", "steps"}
    assert said == next(iter(replay(load(row.day)).values()))


def test_a_model_that_told_limits_better_is_heard_from_the_next_day_on(shop: Shop, die: PartType) -> None:
    many_lives(shop, die)
    learn(at=NOW)
    for row in Replay.objects.all():
        row.said = [
            [part, edge, *(shifted(mid, by) for by in (20, 25, 30)), lumped, basis, {
                "calm": [day(mid).toordinal() + by for by in (20, 25, 30)],
                "steps": [day(mid).toordinal() + by for by in (-5, 0, 5)],
            }]
            for part, edge, _early, mid, _late, lumped, basis, _others in row.said
        ]  # fmt: skip
        row.save()
    LearnedFactors.objects.all().delete()
    learn(at=NOW)
    pooled = LearnedFactors.objects.get(part_type=None)
    assert pooled.weights == {"steps": 1.0}
    assert LearnedFactors.objects.get(part_type=die).weights is None
    assert load(day("2026-06-01")).range_factors.weights == {}
    assert load(day("2026-06-02")).range_factors.weights == {"steps": 1.0}
    # Ranges are corrected as they would have been mixed when they were given, so the first count in full.
    assert pooled.early > 1
