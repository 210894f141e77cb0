"""What the library draws is let into a page without anything that the content policy forbids."""

from __future__ import annotations

import json

import pytest

from wearlog.web.drawing.charts import render
from wearlog.web.drawing.charts.layers import axes, rule, rules, texts, whole
from wearlog.web.drawing.charts.render import INK, STEEL, UnexpectedMarkup, chart_svg, cleaned

SPEC = {
    "width": 100,
    "height": 50,
    "data": {"values": [{"x": 1, "y": 2}, {"x": 3, "y": 4}]},
    "mark": {"type": "point", "filled": True, "color": "black", "opacity": 1},
    "encoding": {
        "x": {"field": "x", "type": "quantitative"},
        "y": {"field": "y", "type": "quantitative"},
    },
    "config": {"background": None, "view": {"stroke": None}},
}


def test_a_picture_is_an_image_with_a_name_that_scales_with_its_column() -> None:
    svg = chart_svg(SPEC, label='Throughput of "North" <press>')
    assert svg.startswith("<svg ")
    head = svg[: svg.index(">")]
    assert 'role="img"' in head
    assert 'aria-label="Throughput of &quot;North&quot; &lt;press&gt;"' in svg
    assert "viewBox=" in head
    assert " width=" not in head
    assert svg.count("role=") == 1
    assert "style" not in svg


def test_a_description_is_drawn_once(monkeypatch: pytest.MonkeyPatch) -> None:
    drawn: list[str] = []

    def draw(spec: str) -> str:
        drawn.append(spec)
        return '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9"><path d="M0,0"/></svg>'

    monkeypatch.setattr(render, "_draw", draw)
    spec = {"title": "drawn once"}
    assert chart_svg(spec, label="one") != chart_svg(spec, label="two")
    chart_svg({"title": "another"}, label="one")
    assert len(drawn) == 2


@pytest.mark.parametrize(
    "inside",
    [
        "<style>text { fill: red }</style>",
        '<path style="fill: red" d="M0,0"/>',
        "<script>1</script>",
        '<path onclick="1" d="M0,0"/>',
        '<a href="https://example.org"><path d="M0,0"/></a>',
        "<foreignObject/>",
        '<image href="https://example.org/a.png"/>',
    ],
)
def test_what_is_not_known_to_be_harmless_is_refused(inside: str) -> None:
    with pytest.raises(UnexpectedMarkup):
        cleaned(f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9">{inside}</svg>')


def test_words_stand_where_the_library_would_write_them_and_look_alike() -> None:
    groups = ("words", "soft", "strong", "now", "locked", "from", "to", "bold_from", "bold_to")
    words = [(group, f"<{group}> & 45.0 “P1”", 3.25 * n, 12.0 * n) for n, group in enumerate(groups)]
    words += [("soft", "again", 100.04, 7.5)]
    for color in (INK, STEEL):  # as all words, or none of them, have it too
        spec = whole(
            300,
            120,
            (8, 8, 4, 28),
            [
                axes((0, 10), [0, 5], (0, 1), {0.0: "0"}),
                rules("zero", [rule(0, 0, 0, 9)], color=color),
                *texts(words),
            ],
        )
        by_library = cleaned(render._draw(json.dumps(spec)))
        assert by_library.count("<text") == len(words) + 1
        shown = chart_svg(spec, label="words")
        assert shown.partition(">")[2] == by_library.partition(">")[2]


def test_nothing_is_fetched_for_a_picture() -> None:
    with pytest.raises(ValueError, match="not allowed"):
        chart_svg({**SPEC, "data": {"url": "https://example.org/data.json"}}, label="fetched")
