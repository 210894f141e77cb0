"""`python -m tests.browser.icons` draws the icons of the home screen from icon.svg, beside it."""

from __future__ import annotations

from pathlib import Path

from playwright.sync_api import sync_playwright

from tests.requirements import browser_program

FOLDER = Path(__file__).resolve().parents[2] / "wearlog" / "web" / "static" / "web"
SIZES = (192, 512)


def main() -> None:
    drawing = (FOLDER / "icon.svg").read_text().replace('rx="4"', 'rx="0"')  # a home screen rounds it itself
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=browser_program(), args=["--no-sandbox"])
        for size in SIZES:
            page = browser.new_page(viewport={"width": size, "height": size})
            page.set_content(f"<style>html, body {{ margin: 0 }} svg {{ display: block }}</style>{drawing}")
            page.screenshot(path=FOLDER / f"icon-{size}.png")
        browser.close()


if __name__ == "__main__":
    main()
