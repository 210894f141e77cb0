"""The style sheet and the templates: contrast, no colour for states, nothing fetched, nothing inline."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from django.conf import settings

WEB = Path(settings.ROOT) / "wearlog" / "web"
SHEETS = sorted((WEB / "static" / "web").glob("*.css"))
SELDOM = {"first-day.css", "dies.css", "dies.js"}
"""What only pages have by which a mill is set up, or the crop is changed."""
PAPERS = {"papers.css"}
"""What only the pages of a season and of a part's whole life have."""
CHARTS = {"charts.css", "beside.js"}
"""What only pages have that show charts with axes, which are none of those."""
SCRIPTS = sorted((WEB / "static" / "web").glob("*.js"))
# A mail carries its style with it; everything that a browser opens from here does not.
TEMPLATES = [
    template
    for template in sorted((Path(settings.ROOT) / "wearlog").glob("**/templates/**/*.html"))
    if "reminders" not in template.parts
]
PAPER = (WEB / "static" / "web" / "paper.css").read_text()


def tokens(scheme: str) -> dict[str, str]:
    """The custom properties of the light or the dark page."""
    light = re.search(r":root \{(.*?)\n  \}", PAPER, re.S)
    dark = re.search(r"prefers-color-scheme: dark\) \{\s*:root \{(.*?)\}", PAPER, re.S)
    assert light is not None
    assert dark is not None
    found = dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6});", light.group(1)))
    return (
        found
        if scheme == "light"
        else found | dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6});", dark.group(1)))
    )


def luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.2."""
    parts = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    red, green, blue = (
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    lighter, darker = sorted((luminance(one), luminance(other)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def test_the_contrast_formula_gives_the_known_ends() -> None:
    # WCAG 2.2: black on white is 21:1, equal colours 1:1; #767676 on white is the least grey that passes 4.5
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#24486a", "#24486a") == 1
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(
    ("ink", "ground"),
    [
        ("ink", "paper"), ("ink", "sheet"), ("ink", "line"), ("soft-ink", "paper"), ("soft-ink", "sheet"),
        ("soft-ink", "line"), ("steel", "paper"), ("steel", "sheet"), ("steel", "line"),
        ("steel", "steel-wash"), ("on-steel", "steel"), ("on-oil", "oil-wash"), ("on-band", "band"),
        ("ink", "steel-wash"), ("ink", "oil-wash"), ("paper", "ink"),
    ],
)  # fmt: skip
def test_text_reads_on_everything_that_it_stands_on(scheme: str, ink: str, ground: str) -> None:
    """WCAG 1.4.3: 4.5:1. The ruled lines of the page run behind text, so they count as a ground."""
    found = tokens(scheme)
    assert contrast(found[ink], found[ground]) >= 4.5


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("ground", ["paper", "sheet"])
def test_borders_of_what_can_be_touched_and_the_jaw_are_seen(scheme: str, ground: str) -> None:
    """WCAG 1.4.11: 3:1 for what tells a control or a drawing apart; fields have a border of soft ink."""
    found = tokens(scheme)
    for colour in ("steel", "soft-ink", "oil"):
        assert contrast(found[colour], found[ground]) >= 3


def test_the_dark_page_differs_in_colours_alone() -> None:
    """So the browser's tests need no more than their contrast looked at in the dark."""
    assert sum(sheet.read_text().count("prefers-color-scheme") for sheet in SHEETS) == 1
    block = re.search(r"prefers-color-scheme: dark\) \{\s*:root \{(.*?)\}\s*\}", PAPER, re.S)
    assert block is not None
    assert re.sub(r"--[\w-]+: #[0-9a-f]{6};", "", block[1]).strip() == ""


def test_states_have_no_colour_of_their_own() -> None:
    """A state changes a border's weight or dash at most: colour is for touch (steel) and emphasis (oil)."""
    for sheet in SHEETS:
        for rule in re.findall(
            r"[^{}]*\.(?:overdue|due|coming|unknown|later)\b[^{}]*\{([^}]*)\}", sheet.read_text()
        ):
            assert not re.search(r"(?<!-)color\s*:|background", rule), rule


def test_colours_stand_in_the_tokens_only() -> None:
    for sheet in SHEETS:
        text = sheet.read_text()
        if sheet.name == "paper.css":
            text = re.sub(r"@layer tokens \{.*?\n\}", "", text, flags=re.S)
        if sheet.name == "print.css":
            text = re.sub(r":root \{.*?\}", "", text, flags=re.S)
        assert re.findall(r"#[0-9a-fA-F]{3,8}\b(?![^{]*\{)|rgba?\(|hsla?\(", text) == [], sheet.name


def test_every_rule_stands_in_a_layer() -> None:
    for sheet in SHEETS:
        text = re.sub(r"/\*.*?\*/", "", sheet.read_text(), flags=re.S)
        depth, outside = 0, ""
        for sign in text:
            depth += {"{": 1, "}": -1}.get(sign, 0)
            outside += sign if depth == 0 else ""
        assert depth == 0, sheet.name
        # The paper's size and margins belong to no layer.
        assert re.sub(r"@layer [\w, ]+;?|@page|[\s}]", "", outside) == "", sheet.name


def test_nothing_is_fetched_from_another_host() -> None:
    for file in [*SHEETS, *SCRIPTS, *TEMPLATES]:
        found = re.findall(
            r"(?:src|href|url|import)\s*[=(]?\s*[\"'(]?(?:https?:)?//[^\s\"')]+", file.read_text()
        )
        assert found == [], file


def test_no_template_styles_or_scripts_inline() -> None:
    """The content security policy forbids both, and a browser would drop them silently."""
    for template in TEMPLATES:
        text = template.read_text()
        assert re.search(r"<style|\sstyle=|\son\w+=\"|javascript:", text) is None, template
        assert re.search(r"<script(?![^>]*\ssrc=)", text) is None, template


def test_every_page_names_its_language_and_can_be_zoomed() -> None:
    for template in TEMPLATES:
        text = template.read_text()
        if "<html" in text:
            assert '<html lang="' in text, template
            assert 'content="width=device-width, initial-scale=1"' in text, template


def test_styles_and_scripts_of_a_page_weigh_little() -> None:
    # a first visit has 100 KB in all, 50 KB of it script (test_pages_weights.py counts what is sent);
    # counted here before compression, which leaves less than a third
    def weight(files: list[Path]) -> int:
        return sum(file.stat().st_size for file in files)

    of_every_day = [sheet for sheet in SHEETS if sheet.name not in SELDOM | CHARTS | PAPERS]
    assert weight(of_every_day) < 50_000
    everywhere = [script for script in SCRIPTS if script.name not in SELDOM | CHARTS | PAPERS]
    assert weight(everywhere) < 60_000
    for others, most in ((SELDOM, 6_200), (CHARTS, 4_000), (PAPERS, 1_500)):
        assert weight([sheet for sheet in SHEETS if sheet.name in others]) < most
        assert weight([script for script in SCRIPTS if script.name in others]) < 3_000


def test_motion_stops_where_a_person_asks_for_it() -> None:
    moving = [
        sheet.name
        for sheet in SHEETS
        if re.search(r"\b(transition|animation|scroll-behavior)\s*:", sheet.read_text())
    ]
    assert moving == ["paper.css"]
    guarded = re.search(r"@media \(prefers-reduced-motion: no-preference\) \{(.*?)\n  \}", PAPER, re.S)
    assert guarded is not None
    outside = PAPER.replace(guarded.group(0), "")
    assert re.search(r"\b(transition|animation|scroll-behavior)\s*:", outside) is None


def test_no_word_of_a_page_stands_outside_translation() -> None:
    """Read as a translator's tool reads it: what is left when tags, marked words and variables are gone."""
    left = {}
    for template in WEB.glob("*/templates/**/*.html"):
        text = re.sub(r"\{% comment %\}.*?\{% endcomment %\}", "", template.read_text(), flags=re.S)
        text = re.sub(r"\{% block width %\}wide\{% endblock %\}", "", text)  # a class, not a word
        text = re.sub(r"\{% blocktranslate.*?\{% endblocktranslate %\}", "", text, flags=re.S)
        text = re.sub(r"\{%.*?%\}|\{\{.*?\}\}", " ", text, flags=re.S)
        spoken = re.findall(r'(?:aria-label|title|alt|placeholder|data-label)="([^"]*)"', text)
        seen = re.sub(r"<[^>]+>|&\w+;", " ", text)
        words = set(re.findall(r"[^\W\d_]{2,}", " ".join([seen, *spoken]))) - {"Wearlog"}
        if words:
            left[template.name] = words
    # the page for a broken server can't count on anything that works, the language least of all
    assert set(left) == {"500.html"}
