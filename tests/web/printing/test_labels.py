"""Sheets of labels: which, how large, and what their codes open."""

from __future__ import annotations

import pytest
from django.test import Client
from django.utils import timezone

from tests.mills.look_mill import LookMill
from tests.web.html import flat
from tests.web.printing.pdf_reader import Paper, ink
from wearlog.equipment.models import Part
from wearlog.people.models import Mill, User
from wearlog.web.printing.labels import MOST, Wanted, labels_for
from wearlog.web.site.codes import Code

SITE = "http://mill.example"


@pytest.fixture
def shop(mill: Mill) -> LookMill:
    return LookMill(timezone.now())


def names(wanted: Wanted) -> list[str]:
    return [label.name for label in labels_for(wanted, site=SITE, system="metric")]


class TestWhich:
    def test_each_group_has_what_it_says_and_retired_things_have_none(self, shop: LookMill) -> None:
        Part.objects.create(code="D5-99", part_type=shop.small, retired_on=shop.now.date())
        assert names(Wanted(groups=["presses"])) == ["North press", "Twin press"]
        assert names(Wanted(groups=["fitted"])) == ["D5-01", "S-01", "S-02"]
        assert names(Wanted(groups=["shelf"])) == ["D5-02"]
        assert names(Wanted(groups=["places"], press=shop.north.pk)) == ["die", "gearbox", "screw"]
        assert names(Wanted(groups=["fitted"], press=shop.twin.pk)) == ["S-02"]
        assert names(Wanted()) == []

    def test_single_ones_come_by_key_and_each_once(self, shop: LookMill) -> None:
        wanted = Wanted(groups=["fitted"], parts=[shop.die.pk, shop.spare.pk], presses=[shop.twin.pk])
        assert names(wanted) == ["Twin press", "D5-01", "D5-02", "S-01", "S-02"]

    def test_a_label_says_what_it_is_and_where_its_code_leads(self, shop: LookMill) -> None:
        (label,) = labels_for(Wanted(parts=[shop.die.pk]), site=SITE, system="metric")
        code = str(Code("part", shop.die.pk))
        assert (label.code, label.url) == (code, f"http://mill.example/scan/{code}/")
        assert label.what == "die, 5.00 mm, edges A B"

    def test_a_store_of_a_thousand_dies_is_cut_off_and_says_so(
        self, shop: LookMill, client: Client, owner: User
    ) -> None:
        Part.objects.bulk_create(Part(code=f"X{n:04}", part_type=shop.small) for n in range(MOST))
        client.force_login(owner)
        page = client.get("/labels/?what=shelf&size=stamp").content.decode()
        assert page.count('class="code"') == MOST == 400
        assert "Only the first 400 labels are shown." in page


class TestPaper:
    # Widths and heights of the labels in mm, the house's own sizes.
    @pytest.mark.parametrize(
        ("size", "width", "height"), [("small", 45, 20), ("middle", 60, 30), ("large", 90, 50)]
    )
    @pytest.mark.parametrize("paper", ["a4", "letter"])
    def test_every_label_of_every_size_is_read_from_its_sheet(
        self,
        pdf: object,
        paper: str,
        size: str,
        width: int,
        height: int,
        shop: LookMill,
        client: Client,
        owner: User,
    ) -> None:
        for number in range(30):
            Part.objects.create(code=f"D5-{number + 10}", part_type=shop.small)
        client.force_login(owner)
        answer = client.get(
            "/labels.pdf", {"what": ["presses", "fitted", "shelf"], "size": size, "paper": paper}
        )
        sheets = Paper(answer.content)
        assert set(sheets.sizes) == {{"a4": (595, 842), "letter": (612, 792)}[paper]}
        wanted = {label.url for label in labels_for(
            Wanted(groups=["presses", "fitted", "shelf"]), site="http://testserver", system="metric"
        )}  # fmt: skip
        assert len(wanted) == 36
        assert sorted(sheets.codes(dpi=200)) == sorted(wanted)
        across, down = (
            (188 if paper == "a4" else 193) // (width + 2),
            (283 if paper == "a4" else 265) // (height + 2),
        )
        assert len(sheets.sizes) <= -(-36 // (across * down))
        for picture in sheets.pictures(dpi=50):
            left, upper, right, lower = ink(picture)
            assert left >= 0.2 * 50
            assert right <= picture.width - 0.2 * 50
            assert upper >= 0.2 * 50
            assert lower <= picture.height - 0.2 * 50

    def test_name_and_code_stand_in_letters_beside_each_square_code(
        self, pdf: object, shop: LookMill, client: Client, owner: User
    ) -> None:
        shop.spare.code = "معصرة 7"
        shop.spare.save()
        client.force_login(owner)
        answer = client.get("/labels.pdf", {"part": [shop.die.pk, shop.spare.pk], "press": shop.twin.pk})
        (words,) = Paper(answer.content).words
        for said in ("D5-01", "Twin press", str(Code("part", shop.die.pk)), str(Code("press", shop.twin.pk))):
            assert said in words
        assert set("معصرة") <= set(words)

    def test_codes_to_stamp_are_a_list_with_names(self, shop: LookMill, client: Client, owner: User) -> None:
        client.force_login(owner)
        page = flat(client.get("/labels/?what=fitted&size=stamp").content.decode())
        row = rf'>{Code("part", shop.die.pk)}</a></td><th scope="row"><bdi>D5-01</bdi></th>'
        assert row in page
        assert '<svg class="qr"' not in page

    def test_nothing_chosen_is_a_page_that_asks_and_no_empty_file(
        self, shop: LookMill, client: Client, owner: User
    ) -> None:
        client.force_login(owner)
        assert "Tick what the labels are for." in client.get("/labels/").content.decode()
        assert client.get("/labels.pdf").status_code == 404
        assert (
            client.get("/labels/?part=zzz&press=99999999999999999999&of=-1&size=x&what=y").status_code == 200
        )

    def test_single_ones_stay_chosen_when_the_form_is_sent_again(
        self, shop: LookMill, client: Client, owner: User
    ) -> None:
        client.force_login(owner)
        page = client.get("/labels/", {"part": shop.die.pk, "size": "large"}).content.decode()
        assert f'<input type="hidden" name="part" value="{shop.die.pk}">' in page
        assert 'value="large" selected' in page
