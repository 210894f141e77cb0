"""The list of what is due, and the job cards."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date

import pytest
from django.test import Client
from django.utils import timezone

from tests.mills.look_mill import LookMill
from tests.web.press_frames import frames_in
from wearlog.forecasts.items import DueItem
from wearlog.lockout.cautions.caution import Caution
from wearlog.people.models import Mill, User
from wearlog.service.models import Rule
from wearlog.web.site.tags import due
from wearlog.words.bring import things_to_bring

TODAY = date(2026, 3, 4)


@pytest.fixture
def shop(mill: Mill) -> LookMill:
    return LookMill(timezone.now())


@pytest.fixture
def read(client: Client, owner: User) -> Callable[[str], str]:
    client.force_login(owner)
    return lambda path: re.sub(r"\s+", " ", client.get(path).content.decode())


def frames(page: str) -> dict[str, str]:
    """By press, its caution and its jobs."""
    return {re.findall(r"<h3><a [^>]*>(.*?)</a>", frame)[0]: frame for frame in frames_in(page)}


def headings(page: str) -> list[str]:
    """`Inspect screw S-01 · North press`: each job with its press."""
    return [
        f"{job} · {press}"
        for press, frame in frames(page).items()
        for job in re.findall(r'<h4 class="job-title">(.*?)</h4>', frame)
    ]


def item(**changed: object) -> DueItem:
    """A flip of die D5-04 on press 2, due on 14 March 2026."""
    known: dict[str, object] = {
        "rule": "die at its limit", "action": "flip", "press": "P2", "position": "die", "part": "D5-04",
        "edge": "A", "state": "due", "trigger": "limit", "due_on": date(2026, 3, 14),
        "early_on": date(2026, 3, 12), "late_on": date(2026, 3, 17), "left_kg": 2700.0, "left_h": 180.0,
        "left_days": 10.0, "basis": "measured", "why": "Worn.",
        "caution": Caution("WARNING", "Mind.", ("mains: Q1", "heater: H1")), "rule_id": 7, "press_id": 2,
        "position_id": 5, "part_id": 31, "fitting_id": 90, "kind": "die", "press_name": "Press 2",
        "instructions": "", "size_mm": 5.0, "lead_days": 7.0, "cycle": "90",
    }  # fmt: skip
    return DueItem(**(known | changed))  # type: ignore[arg-type]


class TestWords:
    def test_a_task_names_action_part_edge_and_press(self) -> None:
        assert due.task_line(item()) == "Flip die D5-04, edge A · Press 2"
        assert due.task_line(item(part="", edge="", position="gearbox", action="lubricate")) == (
            "Lubricate gearbox · Press 2"
        )
        assert due.task_line(item(part="", edge="", position="", kind="", action="clean")) == "Clean Press 2"

    def test_a_code_that_says_its_kind_is_not_told_twice(self) -> None:
        belt = item(part="P2 belt", kind="belt", edge="", action="adjust")
        assert due.task_line(belt) == "Adjust P2 belt · Press 2"

    def test_the_day_comes_with_its_range_and_its_distance(self) -> None:
        assert due.when(item(), TODAY) == ("Sat 14 Mar, in 10 days (between Thu 12 Mar and Tue 17 Mar)")

    @pytest.mark.parametrize(
        ("day", "words"),
        [
            (date(2026, 3, 4), "Wed 4 Mar, today"),
            (date(2026, 3, 5), "Thu 5 Mar, tomorrow"),
            (date(2026, 3, 3), "Tue 3 Mar, yesterday"),
            (date(2026, 2, 22), "Sun 22 Feb, 10 days ago"),
            (date(2026, 7, 4), "Sat 4 Jul, in 4 months"),
            (date(2025, 3, 4), "Tue 4 Mar 2025, 12 months ago"),
            (date(2020, 3, 4), "Wed 4 Mar 2020, 6 years ago"),
        ],
    )
    def test_a_single_day_is_told_as_people_say_it(self, day: date, words: str) -> None:
        assert due.when(item(due_on=day, early_on=day, late_on=day), TODAY) == words

    def test_an_item_without_a_day_has_no_day(self) -> None:
        assert due.when(item(due_on=None, early_on=None, late_on=None), TODAY) == ""

    def test_every_state_has_a_word_and_a_mark_of_its_own(self) -> None:
        states = ("overdue", "due", "coming", "unknown", "later")
        assert [due.state_word(state) for state in states] == [
            "Overdue", "Due", "Coming up", "Can't tell yet", "Later",
        ]  # fmt: skip
        assert len({due.mark(state) for state in states}) == 5

    def test_the_way_to_log_it_is_filled_in(self) -> None:
        assert due.work_url(item()) == "/log/work/?press=2&action=flip&rule=7&fitting=90"
        assert due.work_url(item(fitting_id=None)) == "/log/work/?press=2&action=flip&rule=7"

    def test_an_item_is_named_by_rule_press_position_part_and_edge(self) -> None:
        assert due.card_key(item()) == "7.2.5.31.A"
        assert due.card_key(item(position_id=None, part_id=None, edge="")) == "7.2.0.0.-"

    def test_what_to_bring_begins_with_a_lock_for_each_point(self) -> None:
        assert things_to_bring(item())[0] == "your own lock and tag for each person: 2 locks"
        bare = item(caution=Caution("WARNING", "Mind.", ()))
        assert (
            things_to_bring(bare)[0]
            == "your own lock and tag for each person: a lock for every energy source"
        )
        assert "pin gauges or a bore gauge" in things_to_bring(item())
        assert "the new die, 5.00 mm" in things_to_bring(item(action="replace"))


class TestList:
    def test_it_shows_what_is_due_and_hides_what_can_wait(
        self, shop: LookMill, read: Callable[[str], str]
    ) -> None:
        now, everything = headings(read("/due/")), headings(read("/due/?state=all"))
        assert "Inspect screw S-01 · North press" in now
        assert "Flip die D5-01, edge A · North press" in now
        assert "Lubricate the press · North press" not in now
        assert "Lubricate the press · North press" in everything

    def test_the_press_with_the_worst_comes_first_and_in_it_the_worst(
        self, shop: LookMill, read: Callable[[str], str]
    ) -> None:
        order = ["Overdue", "Due", "Coming up", "Can't tell yet", "Later"]
        worst = []
        for frame in frames(read("/due/?state=all")).values():
            states = re.findall(r"</svg> <strong>([^<]+)</strong>", frame)
            places = [order.index(state.replace("&#x27;", "'")) for state in states]
            assert places == sorted(places)
            worst.append(places[0])
        assert worst == sorted(worst)
        assert worst[0] == 0

    def test_press_state_and_work_narrow_it_down(self, shop: LookMill, read: Callable[[str], str]) -> None:
        assert all("Twin press" in line for line in headings(read(f"/due/?state=all&press={shop.twin.pk}")))
        assert headings(read("/due/?action=inspect")) == [
            "Inspect screw S-01 · North press",
            "Inspect screw S-02 · Twin press",
        ]
        assert headings(read("/due/?state=later")) == ["Lubricate the press · North press"]
        assert "No work answers to this choice." in read("/due/?action=store")

    def test_each_press_carries_its_caution_above_its_jobs(
        self, shop: LookMill, read: Callable[[str], str]
    ) -> None:
        found = frames(read("/due/?state=all"))
        assert sum(frame.count('<li class="job') for frame in found.values()) == 4
        for frame in found.values():
            assert frame.index('aria-label="WARNING"') < frame.index('<li class="job')

    def test_a_long_list_has_pages(self, shop: LookMill, read: Callable[[str], str]) -> None:
        for number in range(40):
            Rule.objects.create(code=f"r{number:02}", action="clean", press=shop.north, every_days=1)
        first, second = read("/due/"), read("/due/?page=2")
        assert len(headings(first)) == 30
        assert not set(re.findall(r"item=([\d.A-]+)", first)) & set(re.findall(r"item=([\d.A-]+)", second))
        assert "Page 2 of 2" in second

    def test_thirty_queries_are_enough(
        self,
        shop: LookMill,
        client: Client,
        owner: User,
        django_assert_max_num_queries: Callable[..., object],
    ) -> None:
        client.force_login(owner)
        with django_assert_max_num_queries(30):  # type: ignore[attr-defined]
            client.get("/due/?state=all")
