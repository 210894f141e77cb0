"""Reads PDFs for tests with PDFium: words, pictures, type sizes, typefaces."""

from __future__ import annotations

import ctypes
import re
from dataclasses import dataclass
from functools import cached_property

import pypdfium2
import pypdfium2.raw as pdfium
import zxingcpp
from PIL import Image

DPI = 72


@dataclass(frozen=True)
class Paper:
    """A PDF file as a reader meets it."""

    content: bytes

    @cached_property
    def document(self) -> pypdfium2.PdfDocument:
        return pypdfium2.PdfDocument(self.content)

    @property
    def sizes(self) -> list[tuple[int, int]]:
        """Width and height of each page in whole points."""
        return [(round(page.get_width()), round(page.get_height())) for page in self.document]

    @cached_property
    def words(self) -> list[str]:
        """The text of each page, each stretch of space as one."""
        return [" ".join(page.get_textpage().get_text_range().split()) for page in self.document]

    def pictures(self, dpi: int = 100) -> list[Image.Image]:
        return [page.render(scale=dpi / DPI).to_pil() for page in self.document]

    def letters(self) -> list[tuple[str, float]]:
        """Every printed character with its size in points."""
        found = []
        for page in self.document:
            text = page.get_textpage()
            for place in range(text.count_chars()):
                letter = chr(pdfium.FPDFText_GetUnicode(text.raw, place))
                if letter.strip():
                    found.append((letter, round(pdfium.FPDFText_GetFontSize(text.raw, place), 2)))
        return found

    def size_of(self, words: str) -> float:
        """The smallest size in which any letter of the phrase is set, wherever lines break in it."""
        letters = self.letters()
        text = "".join(letter for letter, _size in letters)
        start = text.index("".join(words.split()))
        return min(size for _letter, size in letters[start : start + len("".join(words.split()))])

    def fonts(self) -> dict[str, bool]:
        """Each typeface that text is set in, and whether the file has it within itself."""
        found = {}
        for page in self.document:
            for each in page.get_objects(filter=[pdfium.FPDF_PAGEOBJ_TEXT], max_depth=6):
                font = pdfium.FPDFTextObj_GetFont(each.raw)
                name = ctypes.create_string_buffer(200)
                pdfium.FPDFFont_GetBaseFontName(font, name, 200)
                found[name.value.decode()] = bool(pdfium.FPDFFont_GetIsEmbedded(font))
        return found

    def codes(self, dpi: int = 150) -> list[str]:
        """What a reader of QR codes finds on each page."""
        return [str(code.text) for picture in self.pictures(dpi) for code in zxingcpp.read_barcodes(picture)]


def ink(picture: Image.Image) -> tuple[int, int, int, int]:
    """The rectangle that holds all that is printed: left, upper, right, lower in pixels."""
    box = picture.convert("L").point(lambda value: 255 if value < 200 else 0).getbbox()
    assert box is not None
    return box


def is_black_and_white(picture: Image.Image) -> bool:
    """Whether no pixel has a colour; grey is what smooth edges are made of."""
    return all(
        red == green == blue for _count, (red, green, blue) in picture.convert("RGB").getcolors(1 << 24)
    )


def squeezed(html: str) -> str:
    return re.sub(r"\s+", " ", html)
