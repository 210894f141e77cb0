"""The pictures of the documents: all there, all used, light, and made by the command that is named there."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from django.conf import settings
from PIL import Image
from playwright.sync_api import Browser

from tests.browser.demo_site import running
from tests.browser.pictures import DAY, PICTURES, file_of, make

ROOT = Path(settings.ROOT)
FOLDER = ROOT / "docs" / "pictures"
DOCUMENTS = [ROOT / "README.md", *sorted((ROOT / "docs").rglob("*.md"))]


def named() -> dict[Path, set[Path]]:
    """Each document's pictures, by their paths."""
    found = {}
    for document in DOCUMENTS:
        text = document.read_text()
        links = re.findall(r"!\[[^\]]*\]\(([^)]+)\)", text) + re.findall(r'<img src="([^"]+)"', text)
        found[document] = {(document.parent / link).resolve() for link in links}
    return found


def test_every_picture_that_a_document_names_is_there_and_every_one_is_named() -> None:
    pictures = set().union(*named().values())
    assert [str(path) for path in pictures if not path.is_file()] == []
    assert {path for path in pictures if path.parent == FOLDER} == set(FOLDER.glob("*"))
    assert {path.name for path in named()[ROOT / "README.md"]} == {"day.png", "press.png"}


def test_every_picture_has_words_for_whoever_does_not_see_it() -> None:
    for document in DOCUMENTS:
        text = document.read_text()
        for words in re.findall(r"!\[([^\]]*)\]\(", text) + re.findall(r'<img [^>]*alt="([^"]*)"', text):
            assert len(words.split()) > 4, document
        assert text.count("<img ") == len(re.findall(r'<img [^>]*alt="', text))


@pytest.mark.parametrize("path", sorted(FOLDER.glob("*.png")), ids=lambda path: path.name)
def test_a_picture_is_light_enough_for_a_repository(path: Path) -> None:
    assert path.stat().st_size <= 150_000


def test_the_command_makes_the_pictures_that_are_there(browser: Browser, tmp_path: Path) -> None:
    with running(tmp_path / "mill", day=DAY) as site:
        made = make(tmp_path / "pictures", site, browser)
    assert {path.name for path in made} == {path.name for path in FOLDER.glob("*")}
    assert [path.name for path in made] == [file_of(picture) for picture in PICTURES]
    for path in made:
        with Image.open(path) as new, Image.open(FOLDER / path.name) as kept:
            assert new.width == kept.width, path.name
            assert len(new.getcolors() or ()) > 8, f"{path.name} is blank"
