"""Codes open what stands there, and offer what can be done with it in one touch."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from tests.mills.card_mill import give_points
from tests.mills.look_mill import LookMill
from tests.web.press_frames import frames_in
from wearlog.equipment.models import Part, Position, Press
from wearlog.people.models import Mill, Role, User
from wearlog.service.models import Service
from wearlog.web.site.codes import Code

Read = Callable[..., str]


@pytest.fixture
def shop(mill: Mill) -> LookMill:
    return LookMill(timezone.now())


def bare(page: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page)).replace(" ,", ",")


def links(page: str) -> list[str]:
    return [link.replace("&amp;", "&") for link in re.findall(r'href="([^"]+)"', page)]


class TestThings:
    def test_a_die_on_a_press_is_known_with_press_place_edge_and_last_gauge(
        self, shop: LookMill, read: Read
    ) -> None:
        page = read(f"/scan/{Code('part', shop.die.pk)}/")
        words = bare(page)
        for said in (
            "North press",
            "D5-01, die-5, 5.00 mm",
            "Edge at work A",
            "Last gauge of edge A 5.39 mm",
        ):
            assert said in words, said

    def test_each_thing_that_can_be_done_with_a_die_is_one_touch_away(
        self, shop: LookMill, read: Read
    ) -> None:
        known = f"press={shop.north.pk}&position={shop.die_place.pk}&fitting={shop.die_fitting.pk}"
        offered = links(read(f"/scan/{Code('part', shop.die.pk)}/"))
        for action in ("flip", "polish", "replace", "measure"):
            assert f"/log/work/?{known}&action={action}" in offered
        assert f"/log/run/?press={shop.north.pk}" in offered

    @pytest.mark.parametrize("action", ["flip", "polish", "replace", "measure"])
    def test_the_touch_opens_the_form_with_that_part_filled_in(
        self, action: str, shop: LookMill, read: Read
    ) -> None:
        (link,) = [
            link
            for link in links(read(f"/scan/{Code('part', shop.die.pk)}/"))
            if link.endswith(f"action={action}")
        ]
        form = read(link)
        assert f'name="fitting" value="{shop.die_fitting.pk}"' in form
        assert f'name="action" value="{action}"' in form

    def test_a_place_on_a_press_tells_what_sits_there_now(self, shop: LookMill, read: Read) -> None:
        code = Code("position", shop.die_place.pk)
        assert "D5-01" in read(f"/scan/{code}/")
        shop.die_fitting.removed_at = shop.now
        shop.die_fitting.save()
        shop.fit(shop.spare, "B", shop.die_place, shop.now)
        page = bare(read(f"/scan/{code}/"))
        assert "D5-02" in page
        assert "Edge at work B" in page

    def test_a_press_offers_each_of_its_places_the_meter_and_a_run(self, shop: LookMill, read: Read) -> None:
        offered = links(read(f"/scan/{Code('press', shop.north.pk)}/"))
        assert f"/log/reading/?press={shop.north.pk}" in offered
        assert f"/log/run/?press={shop.north.pk}" in offered
        assert any(f"position={shop.screw_place.pk}" in link and "action=polish" in link for link in offered)

    def test_a_part_on_the_shelf_can_be_gauged_and_fitted_where_a_place_is_empty(
        self, shop: LookMill, read: Read
    ) -> None:
        page = read(f"/scan/{Code('part', shop.spare.pk)}/")
        place = Position.objects.get(press=shop.twin, name="left die")
        assert "It lies off the presses" in page
        assert f"/log/measurement/?part={shop.spare.pk}" in links(page)
        assert f"/log/fitting/?position={place.pk}" in links(page)
        assert f"/log/fitting/?position={shop.die_place.pk}" not in links(page), "something sits there"

    def test_a_retired_part_says_so_and_offers_nothing(self, shop: LookMill, read: Read) -> None:
        shop.spare.retired_on = shop.now.date()
        shop.spare.save()
        page = read(f"/scan/{Code('part', shop.spare.pk)}/")
        assert "This part was retired on" in page
        assert "/log/measurement/?part=" not in page

    def test_the_caution_of_the_press_stands_there_with_its_points(self, shop: LookMill, read: Read) -> None:
        give_points(shop.north, 4)
        for code in (Code("press", shop.north.pk), Code("part", shop.die.pk)):
            page = read(f"/scan/{code}/")
            assert 'aria-label="WARNING"' in page
            assert "isolate at disconnect Q1 beside the door" in page

    def test_what_is_due_on_it_is_shown_and_nothing_else(self, shop: LookMill, read: Read) -> None:
        title = r'class="job-title">(\w+) '
        (frame,) = frames_in(read(f"/scan/{Code('part', shop.die.pk)}/"))
        assert re.findall(title, frame) == ["Flip"]
        assert ">North press</a>" in frame
        press = read(f"/scan/{Code('press', shop.north.pk)}/")
        assert sorted(re.findall(title, press)) == ["Flip", "Inspect"]


class TestCodes:
    def test_a_code_survives_renaming(self, shop: LookMill, read: Read) -> None:
        code = Code("part", shop.die.pk)
        shop.die.code = "D-new"
        shop.die.save()
        assert "D-new" in read(f"/scan/{code}/")

    def test_it_works_only_for_who_is_signed_in_and_leads_on_afterwards(
        self, shop: LookMill, client: Client
    ) -> None:
        address = f"/scan/{Code('part', shop.die.pk)}/"
        answer = client.get(address)
        assert answer.status_code == 302
        assert answer.headers["Location"] == f"/sign-in/?next={address.replace('/', '%2F')}"

    def test_a_viewer_reads_and_is_offered_no_entry(self, shop: LookMill, client: Client) -> None:
        client.force_login(User.objects.create_user("guest", role=Role.VIEWER))
        everywhere = links(client.get("/scan/").content.decode())
        for code in (Code("part", shop.die.pk), Code("press", shop.north.pk), Code("part", shop.spare.pk)):
            page = client.get(f"/scan/{code}/").content.decode()
            assert "What was done?" not in page
            assert [link for link in links(page) if link.startswith("/log/") and link not in everywhere] == []

    def test_opening_codes_writes_nothing(self, shop: LookMill, read: Read) -> None:
        read("/scan/")  # the session's own row, if any, comes with the first page
        with CaptureQueriesContext(
            connection,
        ) as queries:
            read(f"/scan/{Code('part', shop.die.pk)}/")
            read(f"/scan/job/{shop.flip_rule.pk}.{shop.north.pk}.{shop.die_place.pk}.{shop.die.pk}.A/")
            read("/labels/?what=presses&what=fitted")
        assert not [q for q in queries if re.match(r"\s*(INSERT|UPDATE|DELETE)", q["sql"])]


class TestTyped:
    @pytest.mark.parametrize("written", ["{}", " {} ", "http://mill.example/scan/{}/"])
    def test_a_code_opens_its_thing_from_the_field(
        self, written: str, shop: LookMill, client: Client, operator: User
    ) -> None:
        client.force_login(operator)
        code = str(Code("part", shop.die.pk))
        answer = client.get("/scan/", {"code": written.format(code.lower())})
        assert answer.headers["Location"] == f"/scan/{code}/"

    @pytest.mark.parametrize("name", ["d5-01", "D5-01"])
    def test_the_mills_own_name_opens_it_too(
        self, name: str, shop: LookMill, client: Client, operator: User
    ) -> None:
        client.force_login(operator)
        assert (
            client.get("/scan/", {"code": name}).headers["Location"] == f"/scan/{Code('part', shop.die.pk)}/"
        )

    def test_a_name_that_is_also_a_code_asks_which(self, shop: LookMill, read: Read) -> None:
        code = str(Code("part", shop.die.pk))
        Part.objects.create(code=code, part_type=shop.small)
        page = read(f"/scan/?code={code}")
        assert "Which one?" in page
        assert "D5-01" in page
        assert "D5-01" in read(f"/scan/{code}/"), "a scanned code is always the code"

    @pytest.mark.parametrize(
        ("typed", "says"),
        [
            ("T3T0", "0 never occurs in a code"),
            ("T3TY", "T3TY is misread somewhere"),
            ("P9XYA", "misread somewhere"),
            (str(Code("part", 9999)), "nothing in this mill"),
            ("<b>", "&lt;, &gt;, B never occurs in a code"),
        ],
    )  # fmt: skip
    def test_what_names_nothing_says_why_and_keeps_what_was_typed(
        self, typed: str, says: str, shop: LookMill, read: Read
    ) -> None:
        page = read(f"/scan/?code={typed}", status=404)
        assert says in page
        assert f'value="{typed.replace("<", "&lt;").replace(">", "&gt;")}"' in page
        assert 'aria-invalid="true"' in page

    @pytest.mark.parametrize("path", ["/", "/log/work/"])
    def test_the_field_stands_on_the_day_page_and_where_work_is_logged(
        self, path: str, shop: LookMill, read: Read
    ) -> None:
        assert '<form method="get" action="/scan/"' in read(
            path if path == "/" else f"{path}?press={shop.north.pk}"
        )


class TestJob:
    @pytest.fixture
    def key(self, shop: LookMill) -> str:
        return f"{shop.flip_rule.pk}.{shop.north.pk}.{shop.die_place.pk}.{shop.die.pk}.A"

    def test_a_card_leads_to_its_job_with_caution_and_button(
        self, key: str, shop: LookMill, client: Client, read: Read
    ) -> None:
        card = read(f"/due/card/?item={key}")
        (link,) = [link for link in links(card) if link.startswith("/scan/job/")]
        page = read(link)
        assert "Flip die D5-01, edge A · North press" in page
        assert 'aria-label="WARNING"' in page
        assert any("action=flip" in each and f"fitting={shop.die_fitting.pk}" in each for each in links(page))
        assert "out of date" not in page

    def test_a_card_printed_before_the_points_changed_is_told_to_be_out_of_date(
        self, key: str, shop: LookMill, read: Read
    ) -> None:
        (link,) = [link for link in links(read(f"/due/card/?item={key}")) if link.startswith("/scan/job/")]
        give_points(shop.north, 5)
        page = read(link)
        assert "The card in your hand is out of date." in page
        assert "Print it again before you work by it." in page

    def test_a_card_of_work_that_has_been_logged_since_says_so_and_shows_who_did_it(
        self, shop: LookMill, read: Read
    ) -> None:
        key = f"{shop.look_rule.pk}.{shop.north.pk}.{shop.screw_place.pk}.{shop.screw.pk}.-"
        (link,) = [link for link in links(read(f"/due/card/?item={key}")) if link.startswith("/scan/job/")]
        assert "counting has begun anew" not in read(link)
        Service.objects.create(
            ref="done", done_at=shop.now - timedelta(minutes=1), press=shop.north, position=shop.screw_place,
            part=shop.screw, action="inspect", rule=shop.look_rule, finding="flight 3 thin", done_by="Mira",
        )  # fmt: skip
        page = read(link)
        assert "Since this card was printed, counting has begun anew." in page
        assert "flight 3 thin" in page
        assert "Mira" in page
        assert 'aria-label="WARNING"' in page

    def test_a_job_that_has_left_the_forecast_says_what_was_logged_last(
        self, key: str, shop: LookMill, read: Read
    ) -> None:
        Service.objects.create(
            ref="done", done_at=shop.now - timedelta(minutes=1), press=shop.north, position=shop.die_place,
            part=shop.die, edge="A", action="flip", rule=shop.flip_rule, finding="worn oval", done_by="Mira",
        )  # fmt: skip
        shop.flip_rule.at_limit = False
        shop.flip_rule.save()
        page = read(f"/scan/job/{key}/")
        assert "No longer due" in page
        assert "worn oval" in page
        assert 'aria-label="WARNING"' in page

    @pytest.mark.parametrize("key", ["", "x", "1.2.3", "1.2.3.4.5.6", "a.b.c.d.-"])
    def test_an_address_that_names_no_job_is_not_found(self, key: str, shop: LookMill, read: Read) -> None:
        read(f"/scan/job/{key}/" if key else "/scan/job/", status=404)

    def test_a_job_of_things_that_are_gone_opens_all_the_same(self, shop: LookMill, read: Read) -> None:
        assert not Press.objects.filter(pk=987).exists()
        assert "No longer due" in read("/scan/job/987.987.987.987.-/")
