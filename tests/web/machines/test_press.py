"""The list of presses and the page of one."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal

import pytest
from django.test import Client
from django.utils import timezone

from tests.mills.look_mill import LookMill
from tests.web.press_frames import frames_in, job_with
from wearlog.equipment.models import Position, Press
from wearlog.history import versions
from wearlog.people.models import Mill, User
from wearlog.runs.models import Run


@pytest.fixture
def shop(mill: Mill) -> LookMill:
    return LookMill(timezone.now())


@pytest.fixture
def read(client: Client, owner: User) -> Callable[[str], str]:
    client.force_login(owner)
    return lambda path: re.sub(r"\s+", " ", client.get(path).content.decode())


def test_the_list_tells_hours_and_tonnes_of_each_press(shop: LookMill, read: Callable[[str], str]) -> None:
    page = read("/presses/")
    # 60 runs of 10 h and 500 kg: 600 h, 30 t; hours at 20 h a tonne
    assert "600.0 h · 30.00 t" in page
    assert "20.0 h/t this season" in page
    assert "Overdue: 1" in page


def test_a_press_that_never_ran_has_no_rate(shop: LookMill, read: Callable[[str], str]) -> None:
    found = re.search(r"Twin press</a>.*?</li>", read("/presses/"))
    assert found is not None
    assert "0.0 h · 0 kg" in found.group(0)
    assert "h/t" not in found.group(0)


def test_a_retired_press_is_folded_away(shop: LookMill, read: Callable[[str], str]) -> None:
    Press.objects.create(code="OLD", name="Old press", retired_on=timezone.localdate() - timedelta(days=9))
    page = read("/presses/")
    assert page.index("Retired: 1") < page.index("Old press")


def test_the_page_sums_what_the_press_has_worked(shop: LookMill, read: Callable[[str], str]) -> None:
    shop.reading()
    page = read(f"/presses/{shop.north.pk}/")
    assert "600.0 h · 30.00 t" in page
    assert "<strong>20.0 h/t</strong> in season" in page
    assert re.search("meter at 4.120 h, read", page) or "meter at 4\u202f120 h, read" in page


def test_a_us_reader_gets_hours_per_short_ton(shop: LookMill, client: Client, owner: User) -> None:
    owner.units = "us"
    owner.save()
    client.force_login(owner)
    page = client.get(f"/presses/{shop.north.pk}/").content.decode()
    # 30,000 kg / 907.18474 = 33.07 short tons; 600 h / 33.07 = 18.14
    assert "33.1 short tons" in page
    assert "18.1 h/short ton" in page


def test_a_voided_run_counts_no_more(shop: LookMill, read: Callable[[str], str]) -> None:
    Run.objects.filter(ref="n60").update(voided_at=shop.now, void_reason="typed twice")
    assert "590.0 h · 29.50 t" in read(f"/presses/{shop.north.pk}/")


def test_every_position_is_in_the_list_with_what_sits_there(
    shop: LookMill, read: Callable[[str], str]
) -> None:
    page = read(f"/presses/{shop.north.pk}/")
    seats = re.search(r'<ol class="seats">.*?</ol>', page)
    assert seats is not None
    assert f'href="/parts/{shop.screw.pk}/">screw S-01</a>' in seats.group(0)
    assert f'href="/parts/{shop.die.pk}/">die D5-01, edge A</a>' in seats.group(0)
    assert (
        f'href="/log/fitting/?position={shop.gearbox_place.pk}">gearbox: nothing fitted</a>' in seats.group(0)
    )
    assert "600.0 h, 30.00 t since fitted." in seats.group(0)


def test_the_last_work_on_a_part_is_told_in_hours_of_pressing(
    shop: LookMill, read: Callable[[str], str]
) -> None:
    shop.polish()
    # five runs of 10 h began after the polishing five days ago, to the minute
    assert re.search(r"Polished \d+ \w+ \d+, 50.0 h ago.", read(f"/presses/{shop.north.pk}/"))


def test_the_drawing_links_each_part_and_is_hidden_from_screen_readers_who_have_the_list(
    shop: LookMill, read: Callable[[str], str]
) -> None:
    page = read(f"/presses/{shop.north.pk}/")
    drawing = re.search(r'<svg class="machine".*?</svg>', page)
    assert drawing is not None
    assert 'aria-hidden="true"' in drawing.group(0)[:120]
    assert drawing.group(0).count('tabindex="-1"') == 3
    assert f'href="/parts/{shop.die.pk}/"' in drawing.group(0)
    numbers = re.findall(r'text-anchor="middle">(\d+)</text>', drawing.group(0))
    assert numbers == numbers_of_seats(page) == ["1", "2", "3"]


def numbers_of_seats(page: str) -> list[str]:
    """Those in the list of all seats."""
    every = re.search(r'<ol class="seats">.*?</ol>', page)
    assert every is not None
    return re.findall(r'<span class="number" aria-hidden="true">(\d+)</span>', every.group(0))


def test_what_wears_stands_large_with_its_number_and_its_next_date(
    shop: LookMill, read: Callable[[str], str]
) -> None:
    wears = re.search(r'<ol class="seats wears">.*?</ol>', read(f"/presses/{shop.north.pk}/"))
    assert wears is not None
    assert "die D5-01, edge A" in wears.group(0)
    assert "limit 5.40 mm" in wears.group(0)
    assert "<strong>Coming up</strong>: flip" in wears.group(0)


def test_a_twin_is_drawn_with_two_barrels(shop: LookMill, read: Callable[[str], str]) -> None:
    single = read(f"/presses/{shop.north.pk}/").count('class="warm"')
    twin = read(f"/presses/{shop.twin.pk}/").count('class="warm"')
    assert (single, twin) == (1, 2)


def test_isolation_points_stand_on_the_page_and_their_lack_is_said(
    shop: LookMill, read: Callable[[str], str]
) -> None:
    assert "mains (electrical): isolate at wall isolator Q1" in read(f"/presses/{shop.north.pk}/")
    assert "None is recorded for this press. Find every energy source" in read(f"/presses/{shop.twin.pk}/")


def test_due_items_of_this_press_only_with_their_caution(shop: LookMill, read: Callable[[str], str]) -> None:
    page = read(f"/presses/{shop.north.pk}/")
    frames = frames_in(page)
    assert job_with(page, "Flip die D5-01, edge A")
    assert not job_with(page, "S-02")
    for frame in frames:
        assert "isolate at wall isolator Q1" in frame


def test_the_latest_entries_lead_to_their_pages_where_a_maintainer_corrects_and_the_rest_read(
    shop: LookMill, client: Client, owner: User, operator: User
) -> None:
    work = shop.polish(by=owner)
    client.force_login(owner)
    page = client.get(f"/presses/{shop.north.pk}/").content.decode()
    assert "varnish on flight 3" in page
    assert f'href="/log/work/{work.pk}/"' in page
    assert f"/log/work/{work.pk}/correct/" not in page
    entry = client.get(f"/log/work/{work.pk}/").content.decode()
    assert f"/log/work/{work.pk}/correct/" in entry
    assert f"/log/work/{work.pk}/void/" in entry
    client.force_login(operator)
    page = client.get(f"/presses/{shop.north.pk}/").content.decode()
    assert "varnish on flight 3" in page
    entry = client.get(f"/log/work/{work.pk}/").content.decode()
    assert f"/log/work/{work.pk}/correct/" not in entry
    assert "ask a maintainer" in entry


def test_logging_from_the_page_knows_the_press(shop: LookMill, read: Callable[[str], str]) -> None:
    page = read(f"/presses/{shop.north.pk}/")
    for path in ("/log/run/", "/log/work/", "/log/incident/", "/log/crop-change/", "/log/reading/"):
        assert f'href="{path}?press={shop.north.pk}"' in page


def test_a_press_that_is_not_there_is_404(read: Callable[[str], str], client: Client) -> None:
    assert client.get("/presses/999/").status_code == 404


def test_a_press_with_many_worm_segments_numbers_them_all(shop: LookMill, read: Callable[[str], str]) -> None:
    for number in range(1, 10):
        Position.objects.create(press=shop.north, name=f"worm {number}", kind="screw", share=Decimal(1))
    page = read(f"/presses/{shop.north.pk}/")
    assert numbers_of_seats(page) == [str(n) for n in range(1, 13)]


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("path", ["/presses/", "/presses/{north}/", "/presses/{twin}/"])
def test_thirty_queries_are_enough_and_fifty_five_for_the_first_look_after_a_write(
    path: str,
    client: Client,
    owner: User,
    django_assert_max_num_queries: Callable[..., object],
) -> None:
    shop = LookMill(timezone.now())
    shop.running()
    shop.hold()
    shop.polish()
    shop.reading()
    client.force_login(owner)
    versions.touch()
    address = path.format(north=shop.north.pk, twin=shop.twin.pk)
    with django_assert_max_num_queries(55):  # type: ignore[attr-defined]
        client.get(address)  # reads the log once, for all pages until the next write
    with django_assert_max_num_queries(30):  # type: ignore[attr-defined]
        client.get(address)
