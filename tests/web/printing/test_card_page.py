"""The job card as a page: all that a person needs at the press, and never a task without its caution."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import timedelta
from urllib.parse import parse_qs, urlsplit

import pytest
from django.test import Client
from django.utils import timezone

from tests.mills.card_mill import give_points
from tests.mills.look_mill import LookMill
from tests.web.html import flat
from wearlog.equipment.models import Part
from wearlog.forecasts.memory.queries import due_items
from wearlog.people.models import Mill, User
from wearlog.service.models import Rule, Service
from wearlog.web.printing.cards import turn_of
from wearlog.web.site.tags.due import card_key
from wearlog.words.tasks import task_line


@pytest.fixture
def shop(mill: Mill) -> LookMill:
    return LookMill(timezone.now())


@pytest.fixture
def read(client: Client, owner: User) -> Callable[[str], str]:
    client.force_login(owner)
    return lambda path: flat(client.get(path).content.decode())


class TestCard:
    @pytest.fixture
    def keys(self, shop: LookMill) -> list[str]:
        """Of the screw's inspection and the die's flip."""
        return [
            f"{shop.look_rule.pk}.{shop.north.pk}.{shop.screw_place.pk}.{shop.screw.pk}.-",
            f"{shop.flip_rule.pk}.{shop.north.pk}.{shop.die_place.pk}.{shop.die.pk}.A",
        ]

    def test_it_has_all_that_a_person_needs_at_the_press(
        self, shop: LookMill, keys: list[str], read: Callable[[str], str]
    ) -> None:
        card = re.sub(r"</?bdi>", "", read(f"/due/card/?item={keys[1]}"))
        for words in (
            "Flip die D5-01, edge A · North press",
            "North press (N), serial 77-3",
            "D5-01, edge A, 5.00 mm",
            "your own lock and tag for each person: 2 locks",
            "Isolated",
            "Locked",
            "Released",
            "Verified",
            "preheat the head 15 to 20 minutes",  # common practice, no source
            "whoever fitted a lock takes it off",
            "The maker's manual, the site's own procedure and local codes come first.",
            "licensed electrician",
            "Work done by, day and time",
        ):
            assert words in card

    def test_the_whole_caution_is_on_paper_unfolded(
        self, keys: list[str], read: Callable[[str], str]
    ) -> None:
        card = read(f"/due/card/?item={keys[0]}")
        assert "Before you open or reach into anything" in card
        assert '<details class="caution-more"' not in card

    def test_each_isolation_point_has_boxes_to_tick(
        self, keys: list[str], read: Callable[[str], str]
    ) -> None:
        table = re.search(r'<table class="ticks">.*?</table>', read(f"/due/card/?item={keys[0]}"))
        assert table is not None
        assert "isolate at wall isolator Q1" in table.group(0)
        assert "isolate at heater plug H1" in table.group(0)
        assert table.group(0).count('class="box"') == 8

    def test_a_press_without_recorded_points_has_lines_to_write_them_on(
        self, shop: LookMill, read: Callable[[str], str]
    ) -> None:
        place = shop.twin.positions.get(name="left screw")
        card = read(f"/due/card/?item={shop.look_rule.pk}.{shop.twin.pk}.{place.pk}.{shop.left_screw.pk}.-")
        assert "No isolation point is recorded for this press." in card
        assert '<table class="ticks">' not in card

    def test_several_tasks_are_several_cards_and_the_same_one_is_one(
        self, keys: list[str], read: Callable[[str], str]
    ) -> None:
        page = read(f"/due/card/?item={keys[0]}&item={keys[1]}&item={keys[0]}")
        assert page.count('<article class="card ') == 2

    def test_a_task_that_has_left_the_forecast_is_named_and_not_printed(
        self, keys: list[str], read: Callable[[str], str]
    ) -> None:
        page = read(f"/due/card/?item={keys[0]}&item=999.1.1.1.-")
        assert page.count('<article class="card ') == 1
        assert "1 of the tasks asked for is no longer in the forecast" in page

    @pytest.mark.parametrize("query", ["", "?item=" + "&item=".join(map(str, range(41)))])
    def test_no_task_or_a_crateful_is_refused(self, query: str, client: Client, owner: User) -> None:
        client.force_login(owner)
        assert client.get(f"/due/card/{query}").status_code == 404

    def test_a_card_never_says_that_a_machine_is_safe(
        self, keys: list[str], read: Callable[[str], str]
    ) -> None:
        words = re.sub(r"<[^>]+>", " ", read(f"/due/card/?item={keys[0]}&item={keys[1]}")).lower()
        assert re.search(r"\bsafe\b", words) is None

    def test_a_spare_of_the_same_type_is_named_for_a_replacement(
        self, shop: LookMill, read: Callable[[str], str]
    ) -> None:
        rule = Rule.objects.create(code="new die", action="replace", kind="die", every_days=1)
        key = f"{rule.pk}.{shop.north.pk}.{shop.die_place.pk}.{shop.die.pk}.A"
        assert "On the shelf: D5-02." in read(f"/due/card/?item={key}")

    def test_work_done_since_makes_the_card_vanish_or_move_on(
        self, shop: LookMill, keys: list[str], read: Callable[[str], str]
    ) -> None:
        assert "Overdue" in read(f"/due/card/?item={keys[0]}")
        Service.objects.create(
            ref="done",
            done_at=shop.now - timedelta(minutes=1),
            press=shop.north,
            position=shop.screw_place,
            part=shop.screw,
            action="inspect",
            rule=shop.look_rule,
        )
        assert "Overdue" not in read(f"/due/card/?item={keys[0]}")

    def test_it_says_gauge_and_limit_with_what_is_reckoned_of_today(
        self, keys: list[str], read: Callable[[str], str]
    ) -> None:
        words = re.sub(r"<[^>]+>", "", read(f"/due/card/?item={keys[1]}"))
        assert re.search(r"new 5\.00 mm limit 5\.40 mm last 5\.39 mm \(\w+ \d+ \w+\)", words)
        assert re.search(r"now about 5\.\d+ mm \(5\.\d+ mm to 5\.\d+ mm\)", words)

    def test_it_says_when_and_by_whom_it_was_printed_and_with_which_caution(
        self, keys: list[str], read: Callable[[str], str], shop: LookMill
    ) -> None:
        card = read(f"/due/card/?item={keys[0]}")
        assert re.search(r"printed \d+ \w+ \d{4}, \d\d:\d\d by Olga<", card)
        assert re.search(r'<span class="on-paper"> · caution \d+-\w{5}<', card)
        before = version_on(card)
        assert version_on(read(f"/due/card/?item={keys[0]}")) == before
        give_points(shop.north, 3)
        assert version_on(read(f"/due/card/?item={keys[0]}")) != before

    def test_the_qr_code_leads_back_to_the_job_and_names_the_caution_on_paper(
        self, keys: list[str], read: Callable[[str], str]
    ) -> None:
        card = read(f"/due/card/?item={keys[0]}")
        (item,) = [each for each in due_items(as_of=timezone.localdate()) if card_key(each) == keys[0]]
        (link,) = re.findall(r'<svg class="qr".*?</svg><p class="small"><a href="([^"]+)"', card)
        parts = urlsplit(link.replace("&amp;", "&"))
        assert parts.path == f"/scan/job/{keys[0]}/"
        assert f'aria-label="QR code that opens http://testserver{link}"' in card
        assert parse_qs(parts.query) == {"c": [version_on(card)], "n": [turn_of(item)]}

    def test_steps_come_in_order_before_work_and_before_the_restart(
        self, keys: list[str], read: Callable[[str], str]
    ) -> None:
        words = read(f"/due/card/?item={keys[0]}")
        order = [
            "1. know every energy source", "2. shut the press down", "3. isolate every source",
            "4. each person fits their own lock", "5. release or hold back", "6. see that nobody is near",
            "Isolation points: tick each one", "1. take all tools out", "2. see that everybody stands clear",
            "3. whoever fitted a lock", "4. tell everybody", "5. preheat the head", "6. start slowly",
            "My locks on", ">Signature<",
        ]  # fmt: skip
        places = [words.index(each) for each in order]
        assert places == sorted(places)

    def test_several_people_sign_for_their_own_locks(
        self, keys: list[str], read: Callable[[str], str]
    ) -> None:
        table = re.search(r'<table class="signs">.*?</table>', read(f"/due/card/?item={keys[0]}"))
        assert table is not None
        assert table.group(0).count("<tr>") == 1 + 3

    def test_a_mill_in_us_units_prints_on_letter_and_every_reader_may_choose(
        self, keys: list[str], read: Callable[[str], str], mill: Mill
    ) -> None:
        assert "page-a4" in read(f"/due/card/?item={keys[0]}")
        assert "page-letter" in read(f"/due/card/?item={keys[0]}&paper=letter")
        assert "page-a4" in read(f"/due/card/?item={keys[0]}&paper=papyrus")
        mill.units = "us"
        mill.save()
        page = read(f"/due/card/?item={keys[0]}")
        assert "page-letter" in page
        assert f'href="/due/card.pdf?item={keys[0]}&amp;paper=letter"' in page
        assert f'href="/due/card/?item={keys[0]}&amp;paper=a4"' in page

    def test_codes_that_only_this_computer_can_open_are_said_to_be_so(
        self, keys: list[str], client: Client, owner: User
    ) -> None:
        client.force_login(owner)
        for host, told in (("localhost:8000", True), ("testserver", False)):
            page = client.get(f"/due/card/?item={keys[0]}", headers={"host": host}).content.decode()
            assert ("which a phone takes for itself" in page) is told

    def test_a_shelf_full_of_spares_is_counted_and_not_listed(
        self, shop: LookMill, read: Callable[[str], str]
    ) -> None:
        for number in range(10, 20):
            Part.objects.create(code=f"D5-{number}", part_type=shop.small)
        rule = Rule.objects.create(code="new die", action="replace", kind="die", every_days=1)
        card = read(f"/due/card/?item={rule.pk}.{shop.north.pk}.{shop.die_place.pk}.{shop.die.pk}.A")
        assert "On the shelf: D5-02, D5-10, D5-11, D5-12, D5-13, D5-14. And 5 more." in card

    @pytest.mark.parametrize("points", [1, 5, 10, 14, 40])
    def test_every_isolation_point_is_there_to_tick_however_many_there_are(
        self, points: int, shop: LookMill, keys: list[str], read: Callable[[str], str]
    ) -> None:
        give_points(shop.north, points, place="in the far corner of the pressing room behind the seed bin")
        page = read(f"/due/card/?item={keys[1]}")
        tables = re.findall(r'<table class="ticks">.*?</table>', page)
        numbers = [int(n) for n in re.findall(r'<th scope="row" dir="auto">(\d+)\. ', " ".join(tables))]
        assert numbers == list(range(1, points + 1))
        assert " ".join(tables).count('class="box"') == 4 * points
        assert page.count("<article") == page.count('aria-label="WARNING"'), "each sheet has its own caution"

    def test_a_days_tasks_come_together_press_by_press(
        self, shop: LookMill, read: Callable[[str], str]
    ) -> None:
        day = read("/")
        assert 'href="/due/card/?all=due"' in day
        page = read("/due/card/?all=due")
        titles = re.findall(r'<h2 id="card-[^"]+" dir="auto">([^<]+)</h2>', page)
        due = [item for item in due_items(as_of=timezone.localdate()) if item.state in ("overdue", "due")]
        assert sorted(titles) == sorted(task_line(item) for item in due)
        assert len(titles) > 1
        presses = [title.rpartition(" · ")[2] for title in titles]
        assert presses == sorted(presses)
        assert "/due/card.pdf?all=due&amp;paper=a4" in page

    def test_of_more_tasks_than_one_print_holds_the_rest_is_told(
        self, shop: LookMill, read: Callable[[str], str]
    ) -> None:
        for number in range(45):
            Rule.objects.create(code=f"r{number:02}", action="clean", press=shop.north, every_days=1)
        due = [item for item in due_items(as_of=timezone.localdate()) if item.state in ("overdue", "due")]
        page = read("/due/card/?all=due")
        assert page.count("<article") == 40
        assert f"{len(due) - 40} more tasks are due" in page

    def test_a_day_without_anything_due_has_no_card_and_says_so(
        self, mill: Mill, read: Callable[[str], str]
    ) -> None:
        assert "Nothing is due today" in read("/due/card/?all=due")

    def test_long_instructions_go_to_the_next_sheet_and_longer_ones_are_cut_and_say_so(
        self, shop: LookMill, keys: list[str], read: Callable[[str], str]
    ) -> None:
        give_points(shop.north, 10)
        shop.flip_rule.instructions = "Turn it slowly. " * 60
        shop.flip_rule.save()
        first, second = re.findall(r"<article.*?</article>", read(f"/due/card/?item={keys[1]}"))
        assert "Written on the next sheet." in first
        assert "Turn it slowly." not in first
        assert second.count("Turn it slowly.") == 60
        shop.flip_rule.instructions = "Turn it slowly. " * 600
        shop.flip_rule.save()
        assert "... (the rest stands with the rule)" in read(f"/due/card/?item={keys[1]}")


def version_on(card: str) -> str:
    (version,) = set(re.findall(r"· caution ([\w-]+)<", card))
    return version
