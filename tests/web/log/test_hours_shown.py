"""The hours of a run on its page, with their source; what the meter left open on the page of its press."""

from __future__ import annotations

import re

import pytest
from django.test import Client

from tests.mills.forecast_shop import Shop
from wearlog.people.models import Role, User
from wearlog.runs.models import Reading, Run


@pytest.fixture
def shop(db: None) -> Shop:
    return Shop()


@pytest.fixture
def desk(client: Client, shop: Shop) -> Client:
    client.force_login(User.objects.create_user("owner", name="Olga", role=Role.OWNER))
    return client


def shown(desk: Client, path: str) -> str:
    answer = desk.get(path)
    assert answer.status_code == 200
    return re.sub(r"\s+", " ", answer.content.decode())


def of_run(desk: Client, run: Run) -> str:
    found = re.search(r'<h2 id="hours">Hours</h2>(.*?)</section>', shown(desk, f"/log/run/{run.pk}/"))
    assert found is not None
    return " ".join(re.sub(r"<[^>]+>", " ", found.group(1)).split())


def test_hours_that_were_written_down(desk: Client, shop: Shop) -> None:
    run = shop.run("2026-03-02 06:00", 7.5, 400)
    assert of_run(desk, run) == "7.5 h, as written down."


def test_hours_by_the_clock(desk: Client, shop: Shop) -> None:
    run = shop.run("2026-03-02 06:00", 8, 400, recorded=False)
    assert of_run(desk, run) == "8.0 h by the clock, from its start to its end."


def test_hours_by_the_meter_and_between_which_readings(desk: Client, shop: Shop) -> None:
    shop.read("2026-03-01 18:00", 100)
    run = shop.run("2026-03-02 06:00", 8, 400, recorded=False)
    shop.read("2026-03-02 14:00", 107.5)
    assert of_run(desk, run) == (
        "7.5 h by the meter, read at its end. "
        "The meter advanced 7.5 h from 1 March 2026, 18:00 to 2 March 2026, 14:00."
    )


def test_a_run_written_later_takes_its_hours_out_of_the_stretch(desk: Client, shop: Shop) -> None:
    shop.read("2026-03-02 06:00", 100)
    run = shop.run("2026-03-02 08:00", 4, 200, recorded=False)
    shop.read("2026-03-02 12:00", 104)
    assert of_run(desk, run).startswith("4.0 h by the meter")
    shop.run("2026-03-02 06:00", 2, 100)
    assert of_run(desk, run).startswith("2.0 h by the meter")


def test_where_the_others_leave_nothing_the_clock_counts_and_it_is_told(desk: Client, shop: Shop) -> None:
    shop.read("2026-03-02 05:00", 100)
    shop.run("2026-03-02 05:00", 5, 100)
    run = shop.run("2026-03-02 10:00", 2, 200, recorded=False)
    shop.read("2026-03-02 12:00", 104)
    assert of_run(desk, run) == (
        "2.0 h by the clock, from its start to its end. The meter advanced 4.0 h from 2 March 2026, 05:00 to "
        "2 March 2026, 12:00, and the other runs in that time took all of it. Look whether one of them, or a "
        "reading, is wrong."
    )


def test_more_on_the_meter_than_the_clock_allows_is_unlogged(desk: Client, shop: Shop) -> None:
    shop.read("2026-03-01 06:00", 100)
    run = shop.run("2026-03-02 10:00", 2, 200, recorded=False)
    shop.read("2026-03-02 12:00", 109)
    assert of_run(desk, run).startswith("2.2 h by the meter, read at its end. The meter left 9.0 h for it")


def test_a_meter_that_stood_still_tells_nothing(desk: Client, shop: Shop) -> None:
    shop.read("2026-03-01 06:00", 100)
    run = shop.run("2026-03-02 10:00", 2, 200, recorded=False)
    shop.read("2026-03-02 12:00", 100)
    assert of_run(desk, run) == (
        "2.0 h by the clock, from its start to its end. The meter was read at its end, and had not moved "
        "since 1 March 2026, 06:00. It tells nothing of this run."
    )


def test_a_press_that_counts_by_its_meter_scales_its_runs_and_says_so(desk: Client, shop: Shop) -> None:
    shop.press("P1", hours_from="meter")
    shop.read("2026-03-02 05:00", 100)
    run = shop.run("2026-03-02 06:00", 8, 400)
    shop.read("2026-03-03 05:00", 106)
    words = of_run(desk, run)
    assert words.startswith(
        "6.0 h by the meter. The runs from 2 March 2026, 05:00 to 3 March 2026, 05:00 say"
    )
    assert words.endswith("Written down: 8.0 h.")
    # The line in the log shows what was recorded, never hours that the page of the run does not count.
    assert "8.0 h" not in shown(desk, "/log/")


def test_a_run_that_goes_on_has_no_hours_yet(desk: Client, shop: Shop) -> None:
    run = shop.run("2026-03-02 06:00", 8, 400, ended="", recorded=False)
    assert 'id="hours"' not in shown(desk, f"/log/run/{run.pk}/")


def of_press(desk: Client, shop: Shop, query: str = "") -> str:
    found = re.search(
        r'<details class="fold" id="meter".*?</details>', shown(desk, f"/presses/{shop.press().pk}/{query}")
    )
    return "" if found is None else re.sub(r"<[^>]+>", "", found.group(0))


def test_a_press_shows_its_unlogged_hours_by_stretch(desk: Client, shop: Shop) -> None:
    shop.read("2026-03-02 05:00", 100)
    shop.run("2026-03-02 06:00", 8, 400)
    shop.read("2026-03-03 05:00", 110)
    shop.read("2026-03-04 05:00", 113)
    words = of_press(desk, shop)
    assert "Unlogged hours on the meter: 5.0 h" in words
    assert "They are only shown here, since the hours of this press come from its runs." in words
    assert "2 March 2026, 05:00 to 3 March 2026, 05:00: meter 10.0 h, runs 8.0 h, unlogged 2.0 h." in words
    assert "3 March 2026, 05:00 to 4 March 2026, 05:00: meter 3.0 h, runs 0.0 h, unlogged 3.0 h." in words


def test_of_many_stretches_the_latest_twelve_stand_there_and_all_are_one_touch_away(
    desk: Client, shop: Shop
) -> None:
    for day in range(1, 21):
        shop.read(f"2026-03-{day:02d} 05:00", 100.0 + 3 * day)
    few, every = of_press(desk, shop), of_press(desk, shop, "?stretches=all")
    assert (few.count("unlogged 3.0 h"), every.count("unlogged 3.0 h")) == (12, 19)
    assert "7 earlier stretches" in few
    assert "earlier" not in every


def test_unlogged_hours_of_a_press_that_counts_by_its_meter_count_for_its_parts(
    desk: Client, shop: Shop
) -> None:
    shop.press("P1", hours_from="meter")
    shop.fit(shop.part("S1", shop.type("S", "screw")), "2026-03-01")
    shop.read("2026-03-02 05:00", 100)
    shop.run("2026-03-02 06:00", 8, 400)
    shop.read("2026-03-03 05:00", 110)
    page = shown(desk, f"/presses/{shop.press().pk}/")
    assert "never in hours per tonne" in page
    assert "8.0 h · 400 kg" in page  # the press has pressed 8 hours
    assert "10.0 h, 400 kg since fitted" in page  # and its screw has turned 10


def test_a_slip_of_the_pen_is_told_with_a_way_to_correct_it(desk: Client, shop: Shop) -> None:
    shop.read("2026-03-02 05:00", 100)
    wrong: Reading = shop.read("2026-03-03 05:00", 1010)
    shop.read("2026-03-04 05:00", 120)
    page = shown(desk, f"/presses/{shop.press().pk}/")
    assert "1 doubtful reading" in page
    assert (
        f'<a class="textlink" href="/log/reading/{wrong.pk}/">1010 h on 3 March 2026, 05:00 is left out as a '
        "slip: the readings around it don&#x27;t agree with it.</a>" in page
    )


def test_a_meter_replaced_without_a_word_is_told(desk: Client, shop: Shop) -> None:
    for day, meter in enumerate([100, 108, 116, 3, 11, 19], start=1):
        shop.read(f"2026-03-0{day} 05:00", meter)
    assert "From 3 h on 4 March 2026, 05:00 another count begins, though no new meter was logged" in of_press(
        desk, shop
    )


def test_a_press_whose_meter_leaves_nothing_open_says_nothing(desk: Client, shop: Shop) -> None:
    shop.read("2026-03-02 05:00", 100)
    shop.run("2026-03-02 06:00", 8, 400)
    shop.read("2026-03-03 05:00", 108)
    assert of_press(desk, shop) == ""
