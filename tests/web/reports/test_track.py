"""The page of the track record."""

from __future__ import annotations

import re
from datetime import date, timedelta

import pytest
from django.test import Client
from django.utils import timezone

from tests.mills.forecast_shop import Shop
from wearlog.calc.conformal import DayRange
from wearlog.equipment.models import PartType
from wearlog.forecasts.models import Replay
from wearlog.forecasts.track.learning import learn
from wearlog.history.models import LearnedFactors
from wearlog.people.models import Mill, Role, User
from wearlog.web.drawing.promises import picture


@pytest.fixture
def page(client: Client, db: None) -> Client:
    """Signed in; six dies wore out one after another, 80 days each, the last of them ten days ago."""
    shop = Shop()
    die = shop.type("D5", "die", edges=2, new_mm=5.0, limit_mm=5.4, expected_life_kg=40_000.0)
    first = timezone.localdate(timezone=shop.mill.zone) - timedelta(days=490)
    for number in range(6):
        begun = first + timedelta(days=80 * number)
        over = begun + timedelta(days=80)
        part = shop.part(f"D<{number}>", die, retired_on=over, retired_because="worn")
        shop.fit(part, f"{begun} 00:30", f"{over} 00:15", edge="A", position="die")
        for days in (20, 40, 60):
            shop.gauge(f"{begun + timedelta(days=days)} 05:00", part, 5.0 + 0.005 * days, edge="A")
    shop.runs(first.isoformat(), 485)
    shop.plan(first.isoformat(), (first + timedelta(days=520)).isoformat(), 521 * 500)
    learn(at=timezone.now())
    client.force_login(User.objects.create_user("viewer", role=Role.VIEWER))
    return client


def words(html: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html[html.index("<main") :]))


def test_one_sentence_says_how_often_the_range_held(page: Client) -> None:
    text = words(page.get("/track-record/", {"ahead": "30"}).content.decode())
    said = re.search(r"Of 6 edges, the range given 30 days ahead held (\d) times\.", text)
    assert said is not None
    assert f"{said.group(1)} of 6" in text


def test_sixty_days_are_shown_where_nothing_else_is_asked_for(page: Client) -> None:
    assert "given 60 days ahead" in page.get("/track-record/").content.decode()
    assert "given 60 days ahead" in page.get("/track-record/", {"ahead": "61"}).content.decode()
    assert "given 60 days ahead" in page.get("/track-record/", {"ahead": "<x>"}).content.decode()


def test_each_edge_has_a_bar_and_a_row_that_agree(page: Client) -> None:
    html = page.get("/track-record/", {"ahead": "30"}).content.decode()
    drawing = html[html.index("<figure") : html.index("</figure>")]
    table = html[html.index('id="edges-caption"') :]
    names = [f"D&lt;{number}&gt; A" for number in reversed(range(6))]
    assert re.findall(r"<text[^>]*>(D[^<]*)</text>", drawing) == names
    assert re.findall(r'<a href="/parts/\d+/">([^<]*)</a>', table) == names
    held = len(re.findall(r">held</td>", table))
    assert drawing.count('<rect class="stretch"') == held
    assert drawing.count('<rect class="missed"') == 6 - held


def test_the_picture_has_words_for_those_who_do_not_see_it_and_no_style_of_its_own(page: Client) -> None:
    html = page.get("/track-record/").content.decode()
    drawing = html[html.index("<figure") : html.index("</figure>")]
    label = re.search(r'<svg role="img" aria-labelledby="([^"]+)"', drawing)
    assert label is not None
    assert f'<title id="{label.group(1)}">Ranges given 60 days ahead against the day that came' in drawing
    assert "style=" not in html
    assert "<style" not in html


def test_the_page_says_that_ranges_stand_as_given_and_from_when_the_record_speaks(page: Client) -> None:
    text = words(page.get("/track-record/").content.decode())
    assert "No: every range stands as the wear model gives it." in text
    assert "from 8 judged edges on; there are 6." in text
    assert "times as far" not in text


def in_force(early: float, late: float, judged: int, part_type: PartType | None = None) -> None:
    today = timezone.localdate(timezone=Mill.current().zone)
    LearnedFactors.objects.update_or_create(
        since=today,
        part_type=part_type,
        defaults={"early": early, "late": late, "judged": judged, "checked_on": today},
    )


def table(html: str) -> list[list[str]]:
    """The cells of the table of factors, line by line, from its head on."""
    part = html[html.index('id="factors-caption"') :]
    lines = re.findall(r"<tr>(.*?)</tr>", part[: part.index("</table>")], re.DOTALL)
    return [re.sub(r"<[^>]+>", "|", line).replace("\n", " ").split("|") for line in lines]


def cells(html: str) -> list[list[str]]:
    return [[" ".join(cell.split()) for cell in line if cell.strip()] for line in table(html)]


def test_the_page_says_how_far_each_side_is_moved_and_which_kinds_have_their_own(page: Client) -> None:
    in_force(1.42, 0.8, 50)
    in_force(1, 2, 30, PartType.objects.get())
    html = page.get("/track-record/").content.decode()
    assert "Yes: by this mill's own record the early and the late day" in words(html).replace("&#x27;", "'")
    assert cells(html) == [
        ["Part type", "Edges judged", "Early day", "Late day"],
        ["all others, from all edges", "50", "1.42", "0.80"],
        ["D5", "30", "1.00", "2.00"],
    ]
    assert "A part type with 20 judged edges has its own" in words(html)
    assert "ranges would have held instead of" in words(html)


def test_without_a_kind_of_its_own_the_factors_are_of_all_part_types(page: Client) -> None:
    in_force(1.42, 0.8, 50)
    assert cells(page.get("/track-record/").content.decode())[1] == ["all part types", "50", "1.42", "0.80"]


def test_a_record_that_asks_for_no_change_says_from_how_many_edges(page: Client) -> None:
    in_force(1, 1, 12)
    text = words(page.get("/track-record/").content.decode())
    assert "No: every range stands as the wear model gives it." in text
    assert "From 12 judged edges" in text
    assert "times as far" not in text


def test_the_page_says_what_has_still_to_be_replayed(page: Client) -> None:
    assert "still to be replayed" not in page.get("/track-record/").content.decode()
    last = Replay.objects.order_by("day").last()
    assert last is not None
    last.delete()
    assert "1 day of the past has still to be replayed" in page.get("/track-record/").content.decode()


def test_a_lead_at_which_no_edge_was_in_use_says_so(page: Client) -> None:
    text = words(page.get("/track-record/", {"ahead": "90"}).content.decode())
    assert "Of 0 edges" in text
    assert "No edge was in use so long before" in text


@pytest.mark.django_db
@pytest.mark.parametrize("role", [role.value for role in Role])
def test_every_role_may_read_an_empty_record(role: str, client: Client) -> None:
    client.force_login(User.objects.create_user(role, role=role))
    answer = client.get("/track-record/")
    assert answer.status_code == 200
    assert "The record begins with the first one" in answer.content.decode()


@pytest.mark.django_db
def test_the_index_leads_to_the_record(client: Client, owner: User) -> None:
    client.force_login(owner)
    assert '<a href="/track-record/">Track record</a>' in client.get("/").content.decode()


def numbers(text: str) -> float:
    return float(text.rstrip("%em"))


def test_a_range_about_its_day_is_drawn_about_the_line() -> None:
    day = float(date(2026, 3, 1).toordinal())
    drawn = picture([("D-1", DayRange(early=day - 15, mid=day, late=day + 15), day)])
    assert drawn is not None
    bar = drawn.bars[0]
    assert drawn.reach_days == 30
    assert bar.mid == drawn.came == "62%"  # the middle of what lies right of the names: (24 + 100) / 2
    assert (numbers(bar.x), numbers(bar.width)) == (43.0, 38.0)
    assert bar.held
    assert not bar.cut


def test_a_range_beyond_the_picture_ends_at_its_border() -> None:
    rows = [("near", DayRange(early=-10, mid=0, late=10), 0.0)] * 9 + [
        ("far", DayRange(early=50, mid=400, late=900), 0.0)
    ]
    drawn = picture(rows)
    assert drawn is not None
    far = drawn.bars[-1]
    assert far.cut
    assert not far.held
    assert numbers(far.x) + numbers(far.width) <= 100.61
    assert numbers(far.mid) == 100


def test_without_an_edge_there_is_no_picture() -> None:
    assert picture([]) is None


def models(html: str) -> list[list[str]]:
    part = html[html.index('id="models-caption"') :]
    lines = re.findall(r"<tr>(.*?)</tr>", part[: part.index("</table>")], re.DOTALL)
    found = [re.sub(r"<[^>]+>", "|", line).replace("\n", " ").split("|") for line in lines]
    return [[" ".join(cell.split()) for cell in line if cell.strip()] for line in found]


def test_the_page_says_which_models_speak_and_what_each_takes_wear_to_do(page: Client) -> None:
    html = page.get("/track-record/").content.decode()
    assert "The wear model alone. Others are heard from 8 judged edges on; there are 6." in words(html)
    assert "models-caption" not in html
    in_force(1, 1, 12)
    assert "The wear model alone: at this mill no other" in words(page.get("/track-record/").content.decode())
    LearnedFactors.objects.update(weights={"present": 0.35, "steps": 0.65})
    html = page.get("/track-record/").content.decode()
    assert "mixed of these, by how well each would have told the limits" in words(html)
    assert [(line[0], line[2]) for line in models(html)[1:]] == [
        ("the wear model", "35 %"),
        ("the wear model with steadier wear", "0 %"),
        ("wear in chance steps", "65 %"),
    ]
