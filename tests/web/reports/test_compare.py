"""The page that compares hours per tonne."""

from __future__ import annotations

import io
import re

import pytest
from django.test import Client
from openpyxl import load_workbook

from tests.dates import at
from tests.web.html import flat, without_links
from wearlog.equipment.models import Press
from wearlog.people.models import User
from wearlog.runs.models import Crop, Run


@pytest.fixture
def page(client: Client, owner: User) -> Client:
    """Signed in, with two presses: A took 50 h a tonne of flax and 20 of rape, B 40 of flax."""
    client.force_login(owner)
    flax, rape = Crop.objects.create(code="flax"), Crop.objects.create(code="rape")
    first, second = Press.objects.create(code="A"), Press.objects.create(code="B", name="<Big> one")
    for ref, press, crop, day, hours, kg in [
        ("1", first, flax, "2026-03-02", 5, 100),
        ("2", first, rape, "2026-03-09", 4, 200),
        ("3", second, flax, "2026-03-02", 8, 200),
    ]:
        Run.objects.create(
            ref=ref, press=press, crop=crop, started_at=at(f"{day} 06:00"), hours_h=hours, seed_kg=kg
        )
    return client


def rows(html: str) -> list[list[str]]:
    """The text of each cell of the table of all lines, row by row, its foot last."""
    table = html[html.index('id="lines-caption"') :]
    found = []
    for row in re.findall(r"<tr>(.*?)</tr>", table, re.S):
        cells = re.findall(r'<(?:td|th scope="row")[^>]*>(.*?)</t[dh]>', row, re.S)
        if cells:
            found.append([re.sub(r"<[^>]+>", "", cell).strip() for cell in cells])
    return found


def test_the_page_shows_each_line_and_the_sum(page: Client) -> None:
    found = rows(page.get("/compare/").content.decode())
    assert [row[:4] for row in found] == [
        ["A", "flax", "2025/26", "50.00"],
        ["A", "rape", "2025/26", "20.00"],
        ["&lt;Big&gt; one", "flax", "2025/26", "40.00"],
        ["All together", "", "", "34.00"],  # 17 h over 0.5 t
    ]


def test_the_grouping_is_the_readers_choice(page: Client) -> None:
    found = rows(page.get("/compare/", {"by": "crop"}).content.decode())
    assert [row[:2] for row in found] == [["flax", "43.33"], ["rape", "20.00"], ["All together", "34.00"]]


@pytest.mark.parametrize(
    ("sort", "order"),
    [("hours_per_tonne", ["20.00", "40.00", "50.00"]), ("-seed_t", ["20.00", "40.00", "50.00"])],
)
def test_every_column_sorts_and_says_so_in_the_markup(page: Client, sort: str, order: list[str]) -> None:
    html = page.get("/compare/", {"sort": sort}).content.decode()
    assert [row[3] for row in rows(html)[:-1]] == order
    direction = "descending" if sort.startswith("-") else "ascending"
    assert re.findall(r'aria-sort="(\w+)"', html) == [direction]


def test_every_heading_is_a_link_that_sorts(page: Client) -> None:
    html = page.get("/compare/").content.decode()
    head = html[html.index('id="lines-caption"') :].split("</thead>")[0]
    assert len(re.findall(r'<th scope="col"', head)) == len(re.findall(r'<a href="\?sort=', head)) == 10


def test_sorting_by_a_heading_keeps_the_filters(page: Client) -> None:
    html = page.get("/compare/", {"by": "crop", "press": "A"}).content.decode()
    assert "?by=crop&amp;press=A&amp;sort=seed_t" in html


def test_an_unknown_sort_page_or_filter_is_no_error(page: Client) -> None:
    for query in (
        {"sort": "nonsense"},
        {"page": "99"},
        {"page": "x"},
        {"press": "nobody"},
        {"download": "exe"},
    ):
        assert page.get("/compare/", query).status_code == 200


def test_the_page_says_what_the_presses_are_compared_on_and_what_is_left_out(page: Client) -> None:
    html = flat(page.get("/compare/").content.decode())
    assert "Compared on flax; rape, 40.0 %, left out." in html  # 0.2 of 0.5 t
    only_flax = flat(page.get("/compare/", {"crop": "flax"}).content.decode())
    assert "Compared on flax." in only_flax


def test_a_press_that_shares_no_crop_says_so(page: Client) -> None:
    hemp = Crop.objects.create(code="hemp")
    third = Press.objects.create(code="C")
    Run.objects.create(
        ref="4", press=third, crop=hemp, started_at=at("2026-03-02 06:00"), hours_h=3, seed_kg=100
    )
    html = flat(page.get("/compare/").content.decode())
    assert "shares no crop with any other press" in html
    assert "Two by two" not in html


def test_without_a_crop_that_all_ran_the_pairs_have_a_table(page: Client) -> None:
    rape = Crop.objects.get(code="rape")
    third = Press.objects.create(code="C")
    Run.objects.create(
        ref="4", press=third, crop=rape, started_at=at("2026-03-02 06:00"), hours_h=3, seed_kg=100
    )
    html = flat(page.get("/compare/").content.decode())
    assert "Two by two, on the crops that both ran" in html
    assert "on flax; rape, 40.0 %, left out" in html
    assert "A and C" in html


def test_a_season_start_that_is_no_day_is_said_and_the_table_stays(page: Client) -> None:
    html = page.get("/compare/", {"season-start": "31-31"}).content.decode()
    assert "write month and day as MM-DD" in html
    assert 'href="#id_season-start"' in html
    assert 'value="31-31"' in html
    assert len(rows(html)) == 4


def test_an_unknown_grouping_is_said_and_the_table_stays(page: Client) -> None:
    html = page.get("/compare/", {"by": "moon"}).content.decode()
    assert "name one or more of press, crop, season" in html
    assert len(rows(html)) == 4


def test_a_us_reader_sees_short_tons(page: Client, owner: User) -> None:
    User.objects.update(units="us")
    html = page.get("/compare/").content.decode()
    assert "<h1>Hours per short ton</h1>" in html
    assert rows(html)[0][3] == "45.36"  # 50 h/t x 0.90718474 t


def test_the_csv_download_has_the_numbers_of_the_page(page: Client) -> None:
    response = page.get("/compare/", {"by": "press", "download": "csv"})
    assert response["Content-Type"] == "text/csv; charset=utf-8"
    assert 'attachment; filename="hours-per-tonne.csv"' in response["Content-Disposition"]
    lines = response.content.decode().split("\r\n")
    assert lines[0].startswith("press,hours_per_tonne,kg_per_h,seed_t,hours_h,runs,")
    assert lines[1].startswith("A,30.0,33.333333,0.3,9.0,2,")


def test_the_xlsx_download_opens_as_a_sheet(page: Client) -> None:
    response = page.get("/compare/", {"by": "press", "download": "xlsx"})
    sheet = load_workbook(io.BytesIO(response.content)).active
    assert sheet is not None
    assert [cell.value for cell in sheet["A"]] == ["press", "A", "<Big> one"]


def test_the_picture_has_words_for_those_who_cannot_see_it(page: Client) -> None:
    html = page.get("/compare/").content.decode()
    picture = html[html.index("<svg") : html.index("</svg>")]
    assert 'role="img"' in picture
    assert "A: 30.00" in picture
    assert "&lt;Big&gt; one: 40.00, 40.00 at the crops all ran." in picture


def test_the_page_carries_no_inline_style_or_script(page: Client) -> None:
    html = page.get("/compare/").content.decode()
    assert "style=" not in html
    assert "<script>" not in html


def test_a_long_table_has_pages_and_says_which_is_open(page: Client) -> None:
    press = Press.objects.get(code="A")
    for number in range(60):
        crop = Crop.objects.create(code=f"crop{number:02d}")
        Run.objects.create(
            ref=f"n{number}",
            press=press,
            crop=crop,
            started_at=at(f"{1950 + number}-01-01 06:00"),
            hours_h=1,
            seed_kg=10,
        )
    html = flat(page.get("/compare/", {"page": "2"}).content.decode())
    assert len(rows(html)) == 63 - 50 + 1
    pages = html[html.index('aria-label="Pages of the table"') :]
    assert re.findall(r'href="\?page=(\d)" aria-current="page"', pages) == ["2"]


def test_the_page_asks_the_database_few_questions(
    page: Client, django_assert_max_num_queries: object
) -> None:
    with django_assert_max_num_queries(25):  # type: ignore[operator]
        page.get("/compare/")


def test_a_stranger_is_led_to_the_sign_in(client: Client, db: None) -> None:
    response = client.get("/compare/?by=press")
    assert response.status_code == 302
    assert response["Location"] == "/sign-in/?next=%2Fcompare%2F%3Fby%3Dpress"


def test_an_empty_log_is_a_page_that_says_so(client: Client, owner: User) -> None:
    client.force_login(owner)
    html = client.get("/compare/").content.decode()
    assert "No run has ended yet." in html


def test_one_sentence_comes_first_and_each_press_has_its_seasons_drawn(page: Client) -> None:
    html = flat(page.get("/compare/").content.decode())
    # on flax, the crop that both ran: 50 and 40 h a tonne; as pressed A took 9 h for 0.3 t
    assert "&lt;Big&gt; one takes 10.0 h/t more than A. Its crops explain all of it" in html
    section = html[html.index('aria-labelledby="by-season"') :].split("</section>")[0]
    labels = re.findall(r'role="img" aria-label="([^"]*)"', section)
    assert labels == [
        "Hours per tonne: A 50.0 in 2025/26, on flax.",
        "Hours per tonne: &lt;Big&gt; one 40.0 in 2025/26, on flax.",
    ]
    cells = re.findall(r'data-label="(?:Made comparable|As pressed)">([^<]*)<', without_links(section))
    assert cells == ["30.0", "50.0", "40.0", "40.0"]


def test_many_presses_come_in_parts_and_each_is_on_one_of_them(page: Client) -> None:
    crop = Crop.objects.get(code="flax")
    for number in range(60):
        press = Press.objects.create(code=f"Q{number:02d}", name=f"Quern {number:02d}")
        started = at("2026-03-02 06:00")
        Run.objects.create(
            ref=f"q{number}", press=press, crop=crop, started_at=started, hours_h=4, seed_kg=500 + number
        )
    first = page.get("/compare/").content.decode()
    parts = re.findall(r'href="(\?presses=\d+)#by-press"', first)
    assert parts == ["?presses=1", "?presses=2", "?presses=3"]
    seen: list[str] = []
    for part in parts:
        html = page.get(f"/compare/{part}").content.decode()
        table = html[html.index("figures-caption") : html.index("</table>")]
        names = re.findall(r'<th scope="row">(.+?)</th>', table)
        assert len(names) <= 25
        picture = html[html.index('class="chart-sheet') :].split("</svg>")[0]
        words = re.findall(r"<text[^>]*>([^<]+)</text>", picture)
        assert [word for word in words if word in names] == names
        seen += names
    assert sorted(seen) == sorted(["A", "&lt;Big&gt; one", *(f"Quern {number:02d}" for number in range(60))])
