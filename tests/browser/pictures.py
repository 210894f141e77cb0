"""Pictures of the main pages, of the demo mill on one fixed morning:

    .venv/bin/python -m tests.browser.pictures docs/pictures

Each file is a PNG of few colours, light enough for a repository.
"""

from __future__ import annotations

import argparse
import io
import tempfile
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from PIL import Image
from playwright.sync_api import Browser, Page

from tests.browser.demo_site import Site, running
from tests.browser.program import chromium

DAY = date(2026, 3, 4)
COLOURS = 64
PHONE, DESK, SHEET, WIDE_SHEET = (360, 800), (1280, 900), (794, 1123), (1123, 794)
"""CSS pixels; the sheets are A4 at 96 pixels an inch."""


@dataclass(frozen=True)
class Picture:
    """One picture: its file, the page, the size of the window, and how it is shown."""

    name: str
    address: str
    size: tuple[int, int]
    scheme: str = "light"
    printed: bool = False
    scale: float = 1.0
    part: str = ""
    """What of the page is shown, as a selector; all that is in the window where empty."""


PICTURES = (
    Picture("day", "/", PHONE, scale=2),
    Picture("day-dark", "/", PHONE, scheme="dark", scale=2),
    Picture("log-run", "/log/run/?press=1", PHONE, scale=2),
    Picture("day-desk", "/", DESK),
    Picture("press", "/presses/1/", DESK),
    Picture("part", "/parts/25/", DESK),
    Picture("plan", "/plan/", DESK),
    Picture("due", "/due/", DESK),
    Picture("compare", "/compare/", DESK),
    Picture("job-card", "/due/card/?all=due", SHEET, printed=True, part="article.card"),
    Picture("wall-sheet", "/presses/1/wall-sheet/", WIDE_SHEET, printed=True),
)


def file_of(picture: Picture) -> str:
    return f"{picture.name}.png"


def take(page: Page, picture: Picture) -> bytes:
    """The page in its window as a PNG of few colours."""
    answer = page.goto(picture.address, wait_until="networkidle")
    if answer is None or not answer.ok:
        raise RuntimeError(f"{picture.address} can't be opened.")
    if picture.printed:
        page.emulate_media(media="print")
    seen = page.locator(picture.part).first if picture.part else page
    with Image.open(io.BytesIO(seen.screenshot(animations="disabled", caret="hide"))) as shot:
        few = shot.convert("RGB").quantize(COLOURS, dither=Image.Dither.NONE)
    packed = io.BytesIO()
    few.save(packed, "PNG", optimize=True)
    return packed.getvalue()


def make(folder: Path, site: Site, browser: Browser) -> list[Path]:
    """Writes every picture into the folder; the paths, in the order of `PICTURES`."""
    folder.mkdir(parents=True, exist_ok=True)
    made = []
    for picture in PICTURES:
        width, height = picture.size
        context = site.signed_in(
            browser,
            viewport={"width": width, "height": height},
            color_scheme=picture.scheme,
            device_scale_factor=picture.scale,
            reduced_motion="reduce",
            service_workers="block",
        )
        path = folder / file_of(picture)
        path.write_bytes(take(context.new_page(), picture))
        context.close()
        made.append(path)
    return made


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path, help="where the pictures go, such as docs/pictures")
    folder = parser.parse_args().folder
    with (
        tempfile.TemporaryDirectory() as mill,
        running(Path(mill), day=DAY) as site,
        chromium(whole=True) as browser,
    ):
        for path in make(folder, site, browser):
            print(f"{path}: {path.stat().st_size / 1000:.0f} kB")


if __name__ == "__main__":
    main()
