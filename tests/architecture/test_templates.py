"""Templates are read by people, too: no line of one is longer than a screen is wide."""

from __future__ import annotations

from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
WIDTH = 140


def long_lines(folder: Path) -> list[str]:
    return [
        f"{path.relative_to(folder)}:{number} has {len(line)}"
        for path in sorted(folder.rglob("templates/**/*.html"))
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1)
        if len(line) > WIDTH
    ]


def test_no_line_of_a_template_is_longer_than_140_characters() -> None:
    assert long_lines(ROOT / "wearlog") == []


def test_a_line_that_is_too_long_is_found(tmp_path: Path) -> None:
    page = tmp_path / "web/templates/web/page.html"
    page.parent.mkdir(parents=True)
    page.write_text("<p>\n" + "ö" * 140 + "\n" + "ö" * 141 + "\n", encoding="utf-8")
    assert long_lines(tmp_path) == ["web/templates/web/page.html:3 has 141"]
