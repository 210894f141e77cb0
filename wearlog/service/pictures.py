"""Turns a file sent by a phone into a picture that can be stored: it is checked before it is decoded, turned
upright, reduced and drawn again, so that only the visible pixels of the original are kept.
"""

from __future__ import annotations

import hashlib
import io
import logging
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from threading import Lock
from typing import Final

from django.utils.translation import gettext as _
from PIL import Image, ImageFile, ImageOps

from wearlog.people.refusals import Refused

MOST_BYTES: Final = 15_000_000
MOST_PIXELS: Final = 25_000_000
LONGEST_SIDE: Final = 1600
SMALL_SIDE: Final = 320
QUALITY, SMALL_QUALITY = 82, 75
FORMATS: Final = ("JPEG", "PNG", "WEBP")
HEIC: Final = ("HEIF",)
HEIF_BRANDS: Final = {
    b"heic",
    b"heix",
    b"heim",
    b"heis",
    b"hevc",
    b"hevx",
    b"mif1",
    b"msf1",
    b"avif",
    b"avis",
}
FIELD: Final = "photo"


@dataclass(frozen=True)
class Picture:
    """An upright JPEG of at most `LONGEST_SIDE` pixels a side, and a small one of `SMALL_SIDE`.

    `digest` is the SHA-256, in hexadecimal, of the file as received: the same file sent again is the same
    picture."""

    jpeg: bytes
    small: bytes
    width: int
    height: int
    digest: str


def picture_of(data: bytes) -> Picture:
    """Read one file. Raises Refused, with what to do, if it is too large, not a photo, or damaged."""
    if not data:
        raise Refused(_("The photo is empty. Take it again."), field=FIELD)
    if len(data) > MOST_BYTES:
        raise Refused(
            _("The photo has more than %(most)s MB. Set the camera to a smaller size and take it again.")
            % {"most": MOST_BYTES // 1_000_000},
            field=FIELD,
        )
    heic = data[4:8] == b"ftyp" and data[8:12] in HEIF_BRANDS
    if heic and not reads_heic():
        raise Refused(
            _(
                "This photo is in the HEIC format, which can't be read here. Set the camera to JPEG (on many "
                "phones: camera settings, formats, most compatible) and take it again."
            ),
            field=FIELD,
        )
    try:
        formats = HEIC if heic else FORMATS
        with strictly(), Image.open(io.BytesIO(data), formats=formats) as image:
            return _drawn(image, hashlib.sha256(data).hexdigest())
    except (Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
        raise too_many_pixels() from error
    except Refused:
        raise
    except Exception as error:
        # Image decoders raise many kinds of exceptions for damaged files (SyntaxError, struct.error,
        # TypeError, KeyError, MemoryError, zlib.error ...), which differ between releases; in any case the
        # file can't be used. The kind is logged, in case the fault is in this program.
        logger.warning("A photo of %s bytes could not be read: %s", len(data), type(error).__name__)
        raise Refused(
            _(
                "That file is no photo that can be read here (JPEG, PNG or WebP), or it is damaged. "
                "Take it again."
            ),
            field=FIELD,
        ) from error


@cache
def reads_heic() -> bool:
    """Whether the decoder for HEIC is installed (the extra `heic`). It only reads, and is loaded when the
    first such photo comes."""
    try:
        from pi_heif import register_heif_opener
    except ImportError:
        return False
    register_heif_opener(thumbnails=False)
    return True


@contextmanager
def strictly() -> Iterator[None]:
    """Make a truncated file an error, and refuse a decompression bomb before it is opened. In the library
    both are settings of the whole process, which the PDF code changes; so only one picture is read at a
    time."""
    with _one_at_a_time, warnings.catch_warnings():
        warnings.simplefilter("ignore", UserWarning)  # about skipped parts of damaged files
        warnings.simplefilter("error", Image.DecompressionBombWarning)
        before = ImageFile.LOAD_TRUNCATED_IMAGES
        ImageFile.LOAD_TRUNCATED_IMAGES = False
        try:
            yield
        finally:
            ImageFile.LOAD_TRUNCATED_IMAGES = before


_one_at_a_time = Lock()
logger = logging.getLogger(__name__)


def too_many_pixels() -> Refused:
    return Refused(
        _("The photo has more than %(most)s million pixels. Set the camera to fewer and take it again.")
        % {"most": MOST_PIXELS // 1_000_000},
        field=FIELD,
    )


def _drawn(image: Image.Image, digest: str) -> Picture:
    """The two JPEGs of an opened image. Its size comes from the header and is checked before decoding."""
    width, height = image.size
    if width * height > MOST_PIXELS:
        raise too_many_pixels()
    if width < 1 or height < 1:
        raise ValueError("no pixels")
    image.draft("RGB", (LONGEST_SIDE, LONGEST_SIDE))  # lets a JPEG be decoded at reduced size
    upright = ImageOps.exif_transpose(image)
    upright.thumbnail((LONGEST_SIDE, LONGEST_SIDE), Image.Resampling.LANCZOS)
    plain = _on_white(upright)
    small = plain.copy()
    small.thumbnail((SMALL_SIDE, SMALL_SIDE), Image.Resampling.LANCZOS)
    return Picture(
        jpeg=_jpeg(plain, QUALITY),
        small=_jpeg(small, SMALL_QUALITY),
        width=plain.width,
        height=plain.height,
        digest=digest,
    )


def _on_white(image: Image.Image) -> Image.Image:
    """Only the pixels, on a new white image: without location, camera, comment or colour profile."""
    sheet = Image.new("RGB", image.size, "white")
    if "A" in image.getbands() or "transparency" in image.info:
        clear = image.convert("RGBA")
        sheet.paste(clear, mask=clear.getchannel("A"))
    else:
        sheet.paste(image.convert("RGB"))
    return sheet


def _jpeg(image: Image.Image, quality: int) -> bytes:
    out = io.BytesIO()
    image.save(out, "JPEG", quality=quality, optimize=True, progressive=False)
    return out.getvalue()
