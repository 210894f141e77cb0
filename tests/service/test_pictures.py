"""What a phone sends becomes a plain JPEG: checked before it is decoded, upright, small, and with nothing
left but what can be seen."""

from __future__ import annotations

import contextlib
import io
import struct
from collections import Counter

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import ExifTags, Image, ImageFile, ImageOps, PngImagePlugin

from tests.service.heic_photo import HEIC
from tests.service.photographs import LATITUDE, exif, header_of_png, opened, photo
from tests.service.spoilt_photos import spoilt_photos
from wearlog.people.refusals import Refused
from wearlog.service import pictures
from wearlog.service.pictures import MOST_BYTES, picture_of


def markers(jpeg: bytes) -> set[int]:
    """The markers of a JPEG before its scan, read by hand (ITU-T T.81, annex B)."""
    found, place = set(), 2
    while jpeg[place] == 0xFF and jpeg[place + 1] != 0xDA:
        found.add(jpeg[place + 1])
        place += 2 + struct.unpack(">H", jpeg[place + 2 : place + 4])[0]
    return found


@pytest.mark.parametrize("form", ["JPEG", "WEBP"])
def test_neither_the_place_nor_anything_else_of_the_camera_is_left(form: str) -> None:
    sent = photo(form=form)
    assert opened(sent).getexif().get_ifd(ExifTags.IFD.GPSInfo)[ExifTags.GPS.GPSLatitude] == LATITUDE
    made = picture_of(sent)
    for jpeg in (made.jpeg, made.small):
        assert dict(opened(jpeg).getexif()) == {}
        for secret in (b"Exif", b"Ada", b"Camera", b"http", b"Photoshop", b"ICC_PROFILE"):
            assert secret not in jpeg
        # Of the segments that applications use (APP0 to APP15) and of comments only the JFIF head is there.
        assert {marker for marker in markers(jpeg) if 0xE0 <= marker <= 0xEF or marker == 0xFE} == {0xE0}


def test_a_png_leaves_its_texts_and_its_time_behind() -> None:
    texts = PngImagePlugin.PngInfo()
    texts.add_text("Author", "Ada Example")
    out = io.BytesIO()
    Image.new("RGBA", (40, 30), (255, 0, 0, 0)).save(out, "PNG", pnginfo=texts, exif=exif().tobytes())
    assert b"Ada" in out.getvalue()
    made = picture_of(out.getvalue())
    assert b"Ada" not in made.jpeg
    # What was clear is white paper.
    assert opened(made.jpeg).getpixel((5, 5)) == (255, 255, 255)


@pytest.mark.parametrize(
    ("orientation", "corner"),
    [(1, (50, 50)), (3, (350, 250)), (6, (250, 50)), (8, (50, 350))],
)
def test_a_photo_that_was_held_sideways_stands_upright(orientation: int, corner: tuple[int, int]) -> None:
    """Where the white quarter of a 400 by 300 picture comes to lie (Exif 2.3, tag 274)."""
    made = opened(picture_of(photo(orientation=orientation)).jpeg)
    assert made.size == ((300, 400) if orientation in (6, 8) else (400, 300))
    white = made.getpixel(corner)
    assert isinstance(white, tuple)
    assert min(white) > 200


def test_the_longest_side_is_bounded_and_the_proportions_stay() -> None:
    made = picture_of(photo((4000, 3000)))
    assert (made.width, made.height) == (1600, 1200)
    assert opened(made.small).size == (320, 240)


def test_a_small_photo_is_not_blown_up() -> None:
    made = picture_of(photo((200, 100)))
    assert (made.width, made.height) == (200, 100)
    assert opened(made.small).size == (200, 100)


def test_twenty_five_million_pixels_are_taken_and_more_are_refused_by_the_header_alone() -> None:
    assert picture_of(photo((5000, 5000))).width == 1600
    with pytest.raises(Refused, match="more than 25 million pixels"):
        picture_of(header_of_png(5001, 5000))


@pytest.mark.parametrize("size", [(20_000, 20_000), (100_000, 100_000)])
def test_a_bomb_is_refused_before_it_is_opened(size: tuple[int, int]) -> None:
    """A hundred bytes that say they are up to 30 GB of picture."""
    with pytest.raises(Refused, match="million pixels"):
        picture_of(header_of_png(*size))


def test_texts_of_a_png_that_unpack_without_end_are_refused() -> None:
    """200 MB of nothing, in 200 kB."""
    texts = PngImagePlugin.PngInfo()
    out = io.BytesIO()
    texts.add_text("a", "0" * 200_000_000, zip=True)
    Image.new("RGB", (10, 10)).save(out, "PNG", pnginfo=texts)
    with pytest.raises(Refused, match="no photo that can be read"):
        picture_of(out.getvalue())


def test_too_many_bytes_are_refused() -> None:
    with pytest.raises(Refused, match="more than 15 MB"):
        picture_of(photo() + b"\0" * MOST_BYTES)


@pytest.mark.parametrize("brand", [b"heic", b"mif1", b"avif"])
def test_heic_without_its_decoder_says_what_to_set_on_the_phone(
    brand: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(pictures, "reads_heic", lambda: False)
    with pytest.raises(Refused, match="Set the camera to JPEG"):
        picture_of(b"\0\0\0\x18ftyp" + brand + b"\0" * 40)


def test_heic_is_read_where_its_decoder_is_installed() -> None:
    picture = picture_of(HEIC)
    with Image.open(io.BytesIO(picture.jpeg)) as image:
        assert (image.format, image.size) == ("JPEG", (64, 48))
        left, right = image.convert("RGB").getpixel((10, 20)), image.convert("RGB").getpixel((54, 20))
    assert isinstance(left, tuple)
    assert isinstance(right, tuple)
    assert left[2] > 150 > left[0]
    assert right[0] > 150 > right[2]


@pytest.mark.parametrize("cut", [20, 120, 400])
def test_a_damaged_heic_is_refused(cut: int) -> None:
    with pytest.raises(Refused, match="no photo that can be read"):
        picture_of(HEIC[:cut] + b"\0" * 40)


@pytest.mark.parametrize(
    "data",
    [
        b"hello",
        b"<svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script></svg>",
        b"GIF89a" + b"\0" * 40,
        b"%PDF-1.7",
        b"\xff\xd8\xff",
        b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 9 9\n",
    ],
)
def test_what_is_no_photo_is_refused(data: bytes) -> None:
    with pytest.raises(Refused, match="no photo that can be read here"):
        picture_of(data)


def test_an_empty_file_is_refused() -> None:
    with pytest.raises(Refused, match="empty"):
        picture_of(b"")


@pytest.mark.parametrize("lenient", [False, True])
def test_half_a_photo_is_refused(lenient: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    """Also where what draws PDFs has told the library to take halves."""
    monkeypatch.setattr(ImageFile, "LOAD_TRUNCATED_IMAGES", lenient)
    whole = photo((800, 600))
    with pytest.raises(Refused, match="damaged"):
        picture_of(whole[: len(whole) // 2])


@pytest.mark.parametrize("mode", ["L", "1", "P", "LA", "RGBA", "I;16"])
def test_pictures_of_every_kind_of_pixel_become_plain_colour(mode: str) -> None:
    source = Image.new("L", (30, 20), 200)
    out = io.BytesIO()
    (source.convert("I").convert("I;16") if mode == "I;16" else source.convert(mode)).save(out, "PNG")
    assert opened(picture_of(out.getvalue()).jpeg).mode == "RGB"


@pytest.mark.parametrize("form", ["JPEG", "PNG", "WEBP"])
@given(data=st.data())
def test_a_damaged_file_is_a_picture_or_a_refusal_and_nothing_else(form: str, data: st.DataObject) -> None:
    whole = bytearray(photo((60, 40), form=form))
    for _ in range(data.draw(st.integers(1, 6))):
        whole[data.draw(st.integers(0, len(whole) - 1))] = data.draw(st.integers(0, 255))
    cut = data.draw(st.integers(1, len(whole)))
    made = None
    with contextlib.suppress(Refused):
        made = picture_of(bytes(whole[:cut]))
    assert made is None or opened(made.jpeg).format == "JPEG"


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_of_hundreds_of_spoilt_files_none_is_an_error(seed: int) -> None:
    """`python -m tests.service.spoilt_photos` reads ten thousand."""
    came = Counter(what_came_of(data) for _form, data in spoilt_photos(170, seed))
    assert came["read"] + came["refused"] == 170
    assert min(came.values()) > 10  # neither were all of them spoilt beyond reading, nor hardly any


def what_came_of(data: bytes) -> str:
    try:
        made = picture_of(data)
    except Refused:
        return "refused"
    assert opened(made.jpeg).format == "JPEG"
    return "read"


class Unexpected(Exception):
    """Nobody's list of what a reader of pictures may raise holds this one."""


@pytest.mark.parametrize("error", [TypeError, ZeroDivisionError, MemoryError, RecursionError, Unexpected])
def test_whatever_the_reader_of_pictures_fails_with_is_a_refusal(
    error: type[Exception], monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(image: object) -> None:
        raise error("of the library")

    monkeypatch.setattr(ImageOps, "exif_transpose", fails)
    with pytest.raises(Refused, match="damaged"):
        picture_of(photo())
