"""The table of parts and the page of one."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal

import pytest
from django.test import Client
from django.utils import timezone

from tests.mills.look_mill import LookMill
from tests.web.html import flat, without_links
from tests.web.press_frames import frames_in, jobs_in
from wearlog.equipment.models import Fitting, Part
from wearlog.history import versions
from wearlog.people.models import Mill, User
from wearlog.runs.models import Crop, PlanEntry
from wearlog.service.models import Measurement
from wearlog.words.days import day_words


@pytest.fixture
def shop(mill: Mill) -> LookMill:
    return LookMill(timezone.now())


@pytest.fixture
def read(client: Client, owner: User) -> Callable[[str], str]:
    client.force_login(owner)
    return lambda path: flat(client.get(path).content.decode())


def listed(page: str) -> list[str]:
    """The parts of the table's lines, in order."""
    return re.findall(r'<th scope="row"[^>]*> ?<a href="/parts/\d+/">([^<]+)</a>', page)


class TestTable:
    def test_every_part_of_the_mill_has_a_line_that_says_where_it_is(
        self, shop: LookMill, read: Callable[[str], str]
    ) -> None:
        page = read("/parts/")
        assert listed(page) == ["D5-01", "D5-02", "S-01", "S-02"]
        assert 'data-label="Where">North press · die, edge A<' in page
        assert 'data-label="Where">on the shelf<' in page

    def test_kind_and_place_narrow_it_down(self, shop: LookMill, read: Callable[[str], str]) -> None:
        assert listed(read("/parts/?kind=screw")) == ["S-01", "S-02"]
        assert listed(read("/parts/?state=shelf")) == ["D5-02"]
        assert listed(read("/parts/?state=fitted&kind=die")) == ["D5-01"]
        assert listed(read("/parts/?kind=nonsense")) == ["D5-01", "D5-02", "S-01", "S-02"]

    def test_retired_parts_are_apart_and_say_why(self, shop: LookMill, read: Callable[[str], str]) -> None:
        Part.objects.create(
            code="D5-00",
            part_type=shop.small,
            retired_on=timezone.localdate() - timedelta(days=9),
            retired_because="worn",
        )
        assert "D5-00" not in listed(read("/parts/"))
        page = read("/parts/?state=retired")
        assert listed(page) == ["D5-00"]
        assert "retired: worn" in page

    def test_a_heading_sorts_and_says_so(self, shop: LookMill, read: Callable[[str], str]) -> None:
        page = read("/parts/?sort=-part")
        assert listed(page) == ["S-02", "S-01", "D5-02", "D5-01"]
        assert re.search(
            r'<th scope="col"[^>]* aria-sort="descending"> ?<a href="\?sort=part">Part</a>', page
        )
        assert page.count("aria-sort") == 1

    def test_sorting_keeps_the_choice(self, shop: LookMill, read: Callable[[str], str]) -> None:
        assert 'href="?kind=die&amp;sort=place"' in read("/parts/?kind=die")

    def test_the_table_has_a_caption_and_a_long_one_has_pages(
        self, shop: LookMill, read: Callable[[str], str]
    ) -> None:
        Part.objects.bulk_create(Part(code=f"X-{n:03}", part_type=shop.screws) for n in range(60))
        page = read("/parts/")
        assert '<caption id="table-caption">Parts in the mill' in page
        assert len(listed(page)) == 25
        assert 'href="?page=2" aria-current="page"' in read("/parts/?page=2")
        assert len(listed(read("/parts/?page=3"))) == 14

    def test_worn_is_the_share_of_the_way_to_the_limit(
        self, shop: LookMill, read: Callable[[str], str]
    ) -> None:
        # gauged 5.39 of 5.00 to 5.40 yesterday: about 98 %
        found = re.search(r">D5-01</a>.*?data-label=\"Worn\">(\d+) %", read("/parts/"))
        assert found is not None
        assert 92 <= int(found.group(1)) <= 104


class TestPage:
    def test_each_edge_has_its_strip_and_what_it_worked(
        self, shop: LookMill, read: Callable[[str], str]
    ) -> None:
        page = read(f"/parts/{shop.die.pk}/")
        edge_a = re.search(r'<h2 id="edge-1"> ?Edge A.*?</section>', page)
        edge_b = re.search(r'<h2 id="edge-2"> ?Edge B.*?</section>', page)
        assert edge_a is not None
        assert edge_b is not None
        assert "at work" in edge_a.group(0)
        assert "600.0 h, 30.00 t" in without_links(edge_a.group(0))
        assert "<dt>rapeseed</dt><dd>30.00 t</dd>" in without_links(edge_a.group(0))
        assert "Gauged 5.39 mm" in edge_a.group(0)
        assert "0.0 h, 0 kg" in without_links(edge_b.group(0))
        assert "Not gauged yet." in edge_b.group(0)
        assert "Now about" not in edge_b.group(0)

    def test_the_gauges_are_listed_newest_first_with_their_bounds(
        self, shop: LookMill, read: Callable[[str], str]
    ) -> None:
        Measurement.objects.create(
            ref="pin",
            measured_at=shop.now - timedelta(hours=3),
            part=shop.die,
            edge="A",
            value_mm=Decimal("5.38"),
            bound="at_least",
            place="mouth",
        )
        page = read(f"/parts/{shop.die.pk}/")
        values = re.findall(r'data-label="Value">([^<]+)<', page)
        assert values == ["at least 5.38 mm", "5.39 mm", "5.26 mm", "5.13 mm"]
        assert 'data-label="Place">mouth<' in page

    def test_the_rate_of_each_crop_stands_with_its_range(
        self, shop: LookMill, read: Callable[[str], str]
    ) -> None:
        # 0.39 mm over 29.5 t of rapeseed is 0.0132 mm a tonne
        found = re.search(
            r"<dt>rapeseed</dt><dd>(0\.\d+) mm/t <span class=\"soft\">\((0\.\d+) mm/t to (0\.\d+) mm/t\)",
            read(f"/parts/{shop.die.pk}/"),
        )
        assert found is not None
        rate, low, high = (float(text) for text in found.groups())
        assert 0.0125 <= rate <= 0.0140
        assert low < rate < high

    def test_where_it_has_been_is_told_newest_first(self, shop: LookMill, read: Callable[[str], str]) -> None:
        Fitting.objects.create(
            part=shop.die,
            edge="A",
            position=shop.twin.positions.get(name="left die"),
            fitted_at=shop.now - timedelta(days=100),
            removed_at=shop.now - timedelta(days=90),
        )
        page = read(f"/parts/{shop.die.pk}/")
        assert page.index("North press · die") < page.index("Twin press · left die")

    def test_work_on_it_leads_to_its_own_page(self, shop: LookMill, read: Callable[[str], str]) -> None:
        work = shop.polish()
        page = read(f"/parts/{shop.screw.pk}/")
        assert "Polished screw S-01: varnish on flight 3" in page
        assert f'href="/log/work/{work.pk}/"' in page
        assert f"/log/work/{work.pk}/correct/" not in page

    def test_what_is_due_on_it_carries_the_caution(self, shop: LookMill, read: Callable[[str], str]) -> None:
        (frame,) = frames_in(read(f"/parts/{shop.screw.pk}/"))
        (job,) = jobs_in(frame)
        assert "Inspect screw S-01" in job
        assert "isolate at wall isolator Q1" in frame

    def test_a_part_that_was_remade_names_both_ends(self, shop: LookMill, read: Callable[[str], str]) -> None:
        larger = Part.objects.create(code="D6-01", part_type=shop.small, made_from=shop.spare)
        assert f'Made from <a href="/parts/{shop.spare.pk}/">D5-02</a>' in read(f"/parts/{larger.pk}/")
        assert f'Made into <a href="/parts/{larger.pk}/">D6-01</a>' in read(f"/parts/{shop.spare.pk}/")

    def test_a_part_that_is_not_there_is_404(self, client: Client, owner: User) -> None:
        client.force_login(owner)
        assert client.get("/parts/999/").status_code == 404


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("path", ["/parts/", "/parts/{die}/", "/parts/{screw}/"])
def test_thirty_queries_are_enough_and_forty_for_the_first_look_after_a_write(
    path: str, client: Client, owner: User, django_assert_max_num_queries: Callable[..., object]
) -> None:
    shop = LookMill(timezone.now())
    shop.polish()
    client.force_login(owner)
    versions.touch()
    address = path.format(die=shop.die.pk, screw=shop.screw.pk)
    with django_assert_max_num_queries(40):  # type: ignore[attr-defined]
        client.get(address)  # reads the log once, for all pages until the next write
    with django_assert_max_num_queries(30):  # type: ignore[attr-defined]
        client.get(address)


def test_a_part_on_the_shelf_says_what_is_next_when_it_is_fitted(
    shop: LookMill, read: Callable[[str], str]
) -> None:
    spare = Part.objects.get(code="D5-02")
    page = read(f"/parts/{spare.pk}/")
    assert "Next when fitted" in page
    assert re.search(r"Edge A: unused, about [\d. ]+ (t|kg) of \w+", page)
    assert "Flip: " in page  # the rule for each fitted die
    fitted = shop.die_fitting
    assert f'href="/log/work/?fitting={fitted.pk}&amp;action=replace&amp;part={spare.pk}"' in page
    assert "What was done?" not in page


def test_by_the_plan_a_spare_is_worn_out_after_the_change_of_crop_at_which_it_is_fitted(
    shop: LookMill, read: Callable[[str], str]
) -> None:
    spare, day = Part.objects.get(code="D5-02"), timezone.localdate()
    assert "By the plan, if fitted" not in read(f"/parts/{spare.pk}/")
    for crop, start in ((Crop.objects.create(code="linseed"), 5), (shop.rape, 40)):
        PlanEntry.objects.create(
            press=shop.north,
            crop=crop,
            start_on=day + timedelta(days=start),
            end_on=day + timedelta(days=start + 30),
            seed_kg=90_000,
        )
    versions.touch()
    page = read(f"/parts/{spare.pk}/")
    assert "By the plan, if fitted at the next change of crop:" in page
    found = re.search(r"North press · die with rapeseed \(([^)]+)\): edge A is worn out about", page)
    assert found
    assert found[1] == day_words(day + timedelta(days=40), day)


def test_a_part_at_work_has_no_such_lines(shop: LookMill, read: Callable[[str], str]) -> None:
    assert "Next when fitted" not in read(f"/parts/{shop.die.pk}/")
