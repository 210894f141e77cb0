"""What one stop of a press should see done. The dates of the examples are counted by hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.mills.forecast_shop import Shop, day
from wearlog.forecasts.campaign import Campaign, campaign_of, grouped, opens_press, stop_at
from wearlog.forecasts.items import DueItem
from wearlog.history.rows import PlanRow
from wearlog.lockout.cautions.caution import NOT_YET

TODAY = date(2026, 9, 10)
RAPE, SUNFLOWER = 0, 1


def row(start: str, end: str, crop: int = RAPE, seed_kg: float = 9000) -> PlanRow:
    return PlanRow(1, crop, day(start), day(end), seed_kg, None)


def item(**fields: object) -> DueItem:
    return replace(
        DueItem(
            rule="r", action="flip", press="P1", position="die", part="D1", edge="A", state="later",
            trigger="limit", due_on=TODAY, early_on=None, late_on=None, left_kg=None, left_h=None,
            left_days=None, basis="measured", why="", caution=NOT_YET, rule_id=1, press_id=1, position_id=1,
            part_id=1, fitting_id=1, kind="die", press_name="Press 1", instructions="", size_mm=5.0,
            lead_days=0, cycle="c",
        ),
        **fields,  # type: ignore[arg-type]
    )  # fmt: skip


def test_the_campaign_ends_the_day_before_the_plan_changes_the_crop() -> None:
    plan = [row("2026-09-01", "2026-09-30"), row("2026-10-05", "2026-10-20", SUNFLOWER)]
    assert campaign_of(plan, as_of=TODAY) == Campaign(
        begins=TODAY, ends=date(2026, 10, 4), why="change", crops=(RAPE,), next_crop=SUNFLOWER
    )


def test_two_entries_of_one_crop_with_a_short_gap_are_one_campaign() -> None:
    plan = [row("2026-09-01", "2026-09-15"), row("2026-09-25", "2026-10-10")]
    found = campaign_of(plan, as_of=TODAY)
    assert (found.ends, found.why) == (date(2026, 10, 10), "plan")


def test_more_than_two_weeks_without_a_plan_are_a_pause_that_ends_it() -> None:
    plan = [row("2026-09-01", "2026-09-15"), row("2026-09-30", "2026-10-10")]
    found = campaign_of(plan, as_of=TODAY)
    assert (found.ends, found.why) == (date(2026, 9, 15), "pause")


def test_a_press_opened_in_a_pause_gets_the_campaign_that_comes() -> None:
    found = campaign_of([row("2026-11-01", "2026-11-20", SUNFLOWER)], as_of=TODAY)
    assert (found.begins, found.ends, found.crops) == (date(2026, 11, 1), date(2026, 11, 20), (SUNFLOWER,))


def test_two_crops_side_by_side_on_a_twin_press_are_one_campaign() -> None:
    plan = [row("2026-09-01", "2026-09-20"), row("2026-09-05", "2026-09-25", SUNFLOWER)]
    found = campaign_of(plan, as_of=TODAY)
    assert (found.ends, found.crops) == (date(2026, 9, 25), (RAPE, SUNFLOWER))


@pytest.mark.parametrize(
    "plan", [[], [row("2026-08-01", "2026-09-09")], [row("2026-09-01", "2026-09-30", 0, 0)]]
)
def test_without_a_plan_ahead_thirty_days_are_looked_at(plan: list[PlanRow]) -> None:
    found = campaign_of(plan, as_of=TODAY)
    assert (found.begins, found.ends, found.why) == (TODAY, date(2026, 10, 9), "days")


def test_a_number_of_days_that_a_person_chose_goes_before_the_plan() -> None:
    found = campaign_of([row("2026-09-01", "2026-12-30")], as_of=TODAY, days=7)
    assert (found.ends, found.why) == (date(2026, 9, 16), "days")


days_ahead = st.integers(-40, 120)
plans = st.lists(
    st.builds(
        lambda start, length, crop: PlanRow(
            1, crop, TODAY + timedelta(days=start), TODAY + timedelta(days=start + length), 1000.0, None
        ),
        days_ahead,
        st.integers(0, 40),
        st.integers(0, 2),
    ),
    max_size=6,
)


@given(plans)
def test_a_campaign_lies_ahead_and_in_no_day_of_it_another_crop_begins(plan: list[PlanRow]) -> None:
    found = campaign_of(plan, as_of=TODAY)
    assert TODAY <= found.begins <= found.ends
    if found.why != "days":
        begun_later = [row for row in plan if found.begins < row.start_on <= found.ends]
        assert {row.crop for row in begun_later} <= set(found.crops)


CAMPAIGN = Campaign(begins=TODAY, ends=date(2026, 10, 7), why="plan", crops=(RAPE,))
"""28 days: the margin after it is a quarter, 7 days."""


def test_an_item_counts_by_the_early_end_of_its_range() -> None:
    at_risk = item(state="later", early_on=date(2026, 10, 7), due_on=date(2026, 11, 20))
    assert grouped([at_risk], CAMPAIGN).before_end == (at_risk,)


def test_just_after_the_campaign_counts_by_the_likely_day_and_for_a_quarter_of_its_days() -> None:
    within = item(rule="in", early_on=date(2026, 10, 8), due_on=date(2026, 10, 14))
    beyond = item(rule="out", early_on=date(2026, 10, 8), due_on=date(2026, 10, 15))
    found = grouped([within, beyond], CAMPAIGN)
    assert found.just_after == (within,)
    assert found.listed == (within,)


@pytest.mark.parametrize(("days", "margin"), [(7, 7), (60, 15), (200, 30)])
def test_the_margin_is_a_quarter_of_the_campaign_from_a_week_to_thirty_days(days: int, margin: int) -> None:
    campaign = Campaign(begins=TODAY, ends=TODAY + timedelta(days=days - 1), why="days")
    assert campaign.margin_days == margin


def test_what_is_due_stands_first_and_inside_work_before_outside_work() -> None:
    grease = item(rule="grease", state="overdue", action="lubricate", kind="gearbox", due_on=date(2026, 9, 1))
    flip = item(rule="flip", state="due", due_on=TODAY)
    later = item(rule="later", state="coming", early_on=TODAY, due_on=date(2026, 9, 20))
    found = grouped([later, grease, flip], CAMPAIGN)
    assert [one.rule for one in found.now] == ["flip", "grease"]
    assert [one.rule for one in found.before_end] == ["later"]


def test_a_part_on_the_shelf_is_not_part_of_the_stop() -> None:
    assert grouped([item(fitting_id=None, state="due")], CAMPAIGN).listed == ()


def test_what_cant_be_told_is_listed_where_it_can_only_be_seen_with_the_head_off() -> None:
    inside = item(state="unknown", due_on=None)
    outside = item(state="unknown", due_on=None, kind="belt", action="inspect")
    assert grouped([inside, outside], CAMPAIGN).cant_tell == (inside,)


states = st.sampled_from(["overdue", "due", "coming", "later", "unknown"])
dates = st.none() | st.integers(-30, 90).map(lambda days: TODAY + timedelta(days=days))


@given(
    st.lists(
        st.builds(
            lambda state, due, early: item(state=state, due_on=due, early_on=early), states, dates, dates
        )
    )
)
def test_no_item_stands_in_two_groups_and_all_that_is_due_stands_in_the_first(items: list[DueItem]) -> None:
    found = grouped(items, CAMPAIGN)
    shown = [*found.listed, *found.cant_tell]
    assert len(shown) <= len(items)
    assert sum(one.state in ("due", "overdue") for one in items) == len(found.now)


@pytest.mark.parametrize(
    ("action", "kind", "opened"),
    [
        ("flip", "die", True), ("inspect", "screw", True), ("clean", "barrel", True),
        ("adjust", "head", False),
        ("lubricate", "gearbox", False), ("replace", "belt", False), ("clean", "magnet", False),
        ("clean", "", True), ("store", "", True), ("inspect", "", False), ("lubricate", "", False),
    ],
)  # fmt: skip
def test_which_work_needs_the_head_off(action: str, kind: str, opened: bool) -> None:
    # Common practice, no source.
    assert opens_press(action=action, kind=kind) is opened


@pytest.mark.django_db
def test_a_stop_is_read_from_the_log_and_the_plan(shop: Shop) -> None:
    """500 kg a day are planned from 11 to 20 September: 5,000 kg; the die's rule comes every 4,000 kg."""
    kind = shop.type("die-5", "die", edges=2)
    shop.fit(shop.part("D1", kind), "2026-09-10 18:00", edge="A", position="die")
    shop.runs("2026-09-01", 10)
    shop.plan("2026-09-11", "2026-09-20", 5000)
    shop.rule("turn the die", "flip", kind="die", every_kg=4000)
    shop.rule("turn it much later", "flip", kind="die", every_kg=90000)
    found = stop_at(shop.press().pk, as_of=TODAY)
    assert (found.campaign.begins, found.campaign.ends) == (date(2026, 9, 11), date(2026, 9, 20))
    assert found.crops == ("rapeseed",)
    assert found.seed_kg == pytest.approx(5000, rel=0.01)
    assert [one.rule for one in found.items.before_end] == ["turn the die"]
    assert found.items.just_after == ()


@pytest.mark.django_db
def test_a_press_of_which_nothing_is_known_has_an_empty_stop(shop: Shop) -> None:
    found = stop_at(shop.press().pk, as_of=TODAY)
    assert found.items.listed == ()
    assert (found.seed_kg, found.basis, found.planned) == (None, "", False)
