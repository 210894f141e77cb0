"""A part's whole life and a season, on paper: read as pages and as PDFs, with sums made anew."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import datetime, timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test import Client
from django.utils import timezone

from tests.mills.look_mill import LookMill
from tests.web.html import flat
from tests.web.printing.pdf_reader import Paper
from wearlog.compare.columns import WHICH_COST
from wearlog.equipment.models import PartType
from wearlog.history import versions
from wearlog.people.models import Mill, User
from wearlog.runs.models import Price
from wearlog.service.models import Service


@pytest.fixture
def shop(mill: Mill) -> LookMill:
    return LookMill(timezone.now())


@pytest.fixture
def read(client: Client, owner: User) -> Callable[[str], str]:
    client.force_login(owner)
    return lambda path: flat(client.get(path).content.decode())


class TestLife:
    def test_the_page_of_the_part_leads_to_it(self, shop: LookMill, read: Callable[[str], str]) -> None:
        assert f'href="/parts/{shop.die.pk}/life/"' in read(f"/parts/{shop.die.pk}/")

    def test_it_says_what_the_part_worked_and_what_was_gauged(
        self, shop: LookMill, read: Callable[[str], str]
    ) -> None:
        page = read(f"/parts/{shop.die.pk}/life/")
        assert "600.0 h, 30.00 t" in page  # sixty runs of ten hours and 500 kg
        assert "Edge A: 5.39 mm" in page
        assert "Name and signature" in page
        assert "how far this can be relied on" in page.lower()

    def test_a_part_on_the_shelf_has_a_page_that_says_that_nothing_was_logged(
        self, shop: LookMill, read: Callable[[str], str]
    ) -> None:
        assert "Nothing was logged about it yet." in read(f"/parts/{shop.spare.pk}/life/")

    def test_a_part_that_is_not_there_is_not_found(self, client: Client, owner: User, mill: Mill) -> None:
        client.force_login(owner)
        assert client.get("/parts/4711/life/").status_code == 404
        assert client.get("/parts/4711/life.pdf").status_code == 404

    @pytest.mark.parametrize(("paper", "size"), [("a4", (595, 842)), ("letter", (612, 792))])
    def test_it_is_one_sheet_with_a_picture_and_a_line_to_sign(
        self, paper: str, size: tuple[int, int], shop: LookMill, client: Client, owner: User, pdf: object
    ) -> None:
        """The sizes of ISO 216 A4 and Letter (8.5 x 11 in), in points."""
        client.force_login(owner)
        answer = client.get(f"/parts/{shop.die.pk}/life.pdf", {"paper": paper})
        assert answer.headers["Content-Type"] == "application/pdf"
        sheets = Paper(answer.content)
        assert sheets.sizes == [size]
        for words in ("D5-01", "limit 5.40", "Edge A: 5.26 mm", "Name and signature"):
            assert words in sheets.words[0]


class TestSeason:
    def sums(self, season_begins: datetime) -> tuple[float, float]:
        """Hours and seed of the runs since then, by plain SQL."""
        with connection.cursor() as cursor:
            cursor.execute(
                "SELECT sum(hours_h), sum(seed_kg) FROM runs_run "
                "WHERE voided_at IS NULL AND started_at >= %s AND ends_at IS NOT NULL",
                [season_begins],
            )
            hours, seed = cursor.fetchone()
        return float(hours or 0), float(seed or 0)

    def figures(self, page: str) -> dict[str, list[str]]:
        rows = re.findall(r'<tr><th scope="row">([^<]+)</th>((?:<td class="num">[^<]*</td> ?)+)</tr>', page)
        return {name: re.findall(r">([^<]*)</td>", cells) for name, cells in rows}

    def test_its_hours_and_seed_are_those_of_the_runs(
        self, shop: LookMill, read: Callable[[str], str]
    ) -> None:
        today = timezone.localdate()
        year = today.year if today.month >= 7 else today.year - 1
        hours, seed = self.sums(datetime(year, 7, 1, tzinfo=Mill.current().zone))
        told = self.figures(read("/season/?press=N"))
        assert float(told["Hours (h)"][0].replace("\N{NARROW NO-BREAK SPACE}", "")) == pytest.approx(
            hours, abs=0.05
        )
        assert float(told["Seed (t)"][0]) == pytest.approx(seed / 1000, abs=0.005)

    def test_work_and_stand_still_are_those_that_were_logged(
        self, shop: LookMill, read: Callable[[str], str]
    ) -> None:
        for number in range(3):
            Service.objects.create(
                ref=f"p{number}",
                done_at=shop.now - timedelta(hours=number + 1),
                press=shop.north,
                part=shop.screw,
                action="polish",
                labour_h=Decimal("1.5"),
                downtime_h=None if number else Decimal(2),
            )
        page = read("/season/?press=N")
        assert re.search(
            r'Polish</th><td class="num">3</td> ?<td class="num">4.5 h</td> ?<td class="num">2.0 h<', page
        )

    def test_parts_that_were_retired_are_named_with_what_they_worked(
        self, shop: LookMill, read: Callable[[str], str]
    ) -> None:
        shop.die_fitting.removed_at = shop.now - timedelta(hours=30)
        shop.die_fitting.save()
        shop.die.retired_on = timezone.localdate(shop.now - timedelta(hours=30))
        shop.die.retired_because = "worn"
        shop.die.save()
        versions.touch()
        page = read("/season/")
        assert page.count("Parts that were retired") == 1
        assert f'<a href="/parts/{shop.die.pk}/life/"><bdi>D5-01</bdi></a>' in page
        assert "North press · die" in page

    def test_money_is_for_owners(self, shop: LookMill, client: Client, owner: User, operator: User) -> None:
        PartType.objects.update(unit_cost=Decimal(100))
        begin = timezone.localdate(shop.now - timedelta(days=90))
        Price.objects.create(item="labour_h", from_on=begin, price=20)
        client.force_login(owner)
        told = client.get("/season/").content.decode()
        assert "Cost (" in told
        assert str(WHICH_COST) in told
        assert str(WHICH_COST) in client.get("/costs/").content.decode()
        client.force_login(operator)
        page = client.get("/season/").content.decode()
        assert "Hours per tonne" in page
        assert "Cost (" not in page
        assert str(WHICH_COST) not in page

    def test_a_mill_without_runs_is_told_when_it_begins(self, mill: Mill, read: Callable[[str], str]) -> None:
        assert "begins with its first run" in read("/season/")

    def test_a_season_or_a_press_that_is_not_there_is_not_found(
        self, shop: LookMill, client: Client, owner: User
    ) -> None:
        client.force_login(owner)
        for query in ("season=1999/00", "press=nobody", "season=x", "season=2026"):
            assert client.get(f"/season/?{query}").status_code == 404, query
        assert client.get("/season.pdf?press=nobody").status_code == 404

    def test_each_press_has_its_own_sheet(
        self, shop: LookMill, client: Client, owner: User, pdf: object
    ) -> None:
        client.force_login(owner)
        whole = Paper(client.get("/season.pdf").content)
        assert len(whole.words) == 2
        assert "The whole mill" in whole.words[0]
        assert "North press" in whole.words[1]
        one = Paper(client.get("/season.pdf?press=N").content)
        assert len(one.words) == 1
        assert "North press" in one.words[0]
