"""Short codes for stamps and labels, and the QR codes that lead to them."""

from __future__ import annotations

import re

import pytest
import zxingcpp
from django.test import RequestFactory
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image, ImageDraw
from pytest_django import Settings

from wearlog.web.site.codes import ALPHABET, LONGEST, Code, NoCode, read_code
from wearlog.web.site.qr import qr_svg, site_of

KINDS = st.sampled_from(["press", "position", "part"])
NUMBERS = st.integers(1, 2**63 - 1)
CODES = st.builds(Code, kind=KINDS, pk=NUMBERS)
SMALL = st.builds(Code, kind=KINDS, pk=st.integers(1, 20_000))


class TestShortCodes:
    @given(CODES)
    def test_a_code_reads_back_as_what_it_names(self, code: Code) -> None:
        assert read_code(str(code)) == code
        assert len(str(code)) <= LONGEST

    def test_known_codes_stay_what_they_are_since_they_are_stamped_in_steel(self) -> None:
        # Worked out by hand with the characters' values 0 to 22 in the order 234679ACDEFGHJKMNPRTWXY:
        # part 42 is T (19), 42 = 1 * 23 + 19 -> 3 T; 4 * 19 + 3 * 1 + 2 * 19 = 117 = 2 (mod 23) -> 21, X.
        assert str(Code("part", 42)) == "T3TX"
        # press 1: P (17), 2 3 -> 4 * 17 + 0 + 2 * 1 = 70 = 1 (mod 23) -> check 22 = Y.
        assert str(Code("press", 1)) == "P23Y"
        # place 529 = 23 * 23: M (15), 3 2 2 -> 5 * 15 + 4 * 1 = 79 = 10 (mod 23) -> check 13 = J.
        assert str(Code("position", 529)) == "M322J"

    @given(SMALL, st.data())
    def test_every_single_wrong_character_is_found(self, code: Code, data: st.DataObject) -> None:
        text = str(code)
        place = data.draw(st.integers(0, len(text) - 1))
        wrong = data.draw(st.sampled_from([each for each in ALPHABET if each != text[place]]))
        with pytest.raises(NoCode):
            read_code(text[:place] + wrong + text[place + 1 :])

    @given(SMALL, st.data())
    def test_every_exchange_of_two_characters_is_found(self, code: Code, data: st.DataObject) -> None:
        letters = list(str(code))
        one, other = data.draw(st.tuples(*[st.integers(0, len(letters) - 1)] * 2))
        letters[one], letters[other] = letters[other], letters[one]
        swapped = "".join(letters)
        if swapped != str(code):
            with pytest.raises(NoCode):
                read_code(swapped)

    @pytest.mark.parametrize("typed", ["t3tx", " T3 TX ", "T-3TX", "t.3t.x", "T/3TX"])
    def test_small_letters_spaces_and_dashes_do_not_matter(self, typed: str) -> None:
        assert read_code(typed) == Code("part", 42)

    def test_no_character_is_taken_for_another(self) -> None:
        assert len(ALPHABET) == 23
        assert not set(ALPHABET) & set("0OQ1IL5S8BZUV")

    @pytest.mark.parametrize(
        ("typed", "says"),
        [
            ("T3T0", "0 never occurs in a code"),
            ("T3", "at least 4 characters, as T3TX has"),
            ("", "at least 4 characters"),
            ("X3TX", "begins with P (press), M (place on a press) or T (part)"),
            ("T3TY", "T3TY is misread somewhere"),
            ("T223TX", "misread somewhere"),
            ("T222", "misread somewhere"),
            ("T" * 40, "at least 4 characters"),
        ],
    )
    def test_what_is_no_code_is_refused_with_what_to_do(self, typed: str, says: str) -> None:
        with pytest.raises(NoCode) as refused:
            read_code(typed)
        assert says in refused.value.message


class TestQrCodes:
    def test_a_reader_of_another_making_reads_what_was_put_in(self) -> None:
        for text in ("http://mill.example/scan/T3TX/", "https://mill.example/scan/job/7.2.5.31.A/?v=12"):
            assert read_picture(qr_svg(text, label="to the page")) == text

    def test_the_code_has_a_text_alternative_and_no_style_of_its_own(self) -> None:
        svg = qr_svg("http://mill.example/scan/T3TX/", label='the "die"')
        assert 'role="img" aria-label="the &quot;die&quot;"' in svg
        assert "style" not in svg

    def test_four_white_modules_stand_round_it(self) -> None:
        svg = qr_svg("http://mill.example/scan/T3TX/", label="")
        side = int(re.search(r'viewBox="0 0 (\d+) \1"', svg).group(1))  # type: ignore[union-attr]
        runs = [tuple(map(int, run)) for run in re.findall(r"M(\d+) (\d+)h(\d+)v1", svg)]
        assert min(x for x, _y, _w in runs) == min(y for _x, y, _w in runs) == 4
        assert max(x + width for x, _y, width in runs) == max(y for _x, y, _w in runs) + 1 == side - 4


def read_picture(svg: str) -> str:
    """What zxing-cpp reads from the drawing, filled in here rectangle by rectangle, 4 pixels a module."""
    side = int(re.search(r'viewBox="0 0 (\d+)', svg).group(1))  # type: ignore[union-attr]
    picture = Image.new("L", (side * 4, side * 4), 255)
    draw = ImageDraw.Draw(picture)
    for x, y, width in re.findall(r"M(\d+) (\d+)h(\d+)v1", svg):
        left, top = int(x) * 4, int(y) * 4
        draw.rectangle((left, top, left + int(width) * 4 - 1, top + 3), fill=0)
    (found,) = zxingcpp.read_barcodes(picture)
    return str(found.text)


class TestAddress:
    @pytest.mark.parametrize(
        ("setting", "host", "leads_to"),
        [
            ("https://mill.example", "192.168.1.9:8000", "https://mill.example"),
            ("http://127.0.0.1:8000", "192.168.1.9:8000", "http://192.168.1.9:8000"),
            ("http://127.0.0.1:8000", "localhost:8000", "http://localhost:8000"),
            ("http://[::1]:8000/", "press.barn.example", "http://press.barn.example"),
        ],
    )
    def test_a_code_leads_where_a_phone_can_go(
        self, settings: Settings, setting: str, host: str, leads_to: str
    ) -> None:
        settings.SITE_URL = setting
        settings.ALLOWED_HOSTS = ["*"]
        assert site_of(RequestFactory().get("/", headers={"host": host})) == leads_to
