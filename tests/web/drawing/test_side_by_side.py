"""The presses' hours per tonne on one axis: marks where the axis says, ranges, and words beside them."""

from __future__ import annotations

import re

import pytest

from wearlog.compare.grounds import PressFigure
from wearlog.web.drawing.charts.side_by_side import NARROW, SIDE, WIDE, SideBySide, side_by_side


def figure(press: str, crude: float | None, **fields: object) -> PressFigure:
    values: dict[str, object] = {
        "press_name": press,
        "standardised": None,
        "low": None,
        "high": None,
        "on": (),
        "against": "",
        "against_name": "",
        "why": "shares no crop with any other press",
    }
    return PressFigure(press=press, crude=crude, **(values | fields))  # type: ignore[arg-type]


def drawn(*figures: PressFigure, system: str = "") -> SideBySide:
    found = side_by_side(figures, system)
    assert found is not None
    return found


def group(svg: str, name: str) -> str:
    return svg.split(f'class="{name}"')[1].split("</g>")[0] if f'class="{name}"' in svg else ""


def places(svg: str, name: str) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for x, y in re.findall(r"translate\(([\d.]+),([\d.]+)\)", group(svg, name))]


def words(svg: str) -> list[str]:
    return re.findall(r"<text[^>]*>([^<]+)</text>", svg)


@pytest.mark.parametrize("size", ["wide", "narrow"])
def test_marks_lie_as_far_from_zero_as_their_figures(size: str) -> None:
    svg = getattr(drawn(figure("P1", 40.0, standardised=30.0), figure("P2", 20.0)), size)
    (first, _), (common, _), (second, _) = places(svg, "points")
    assert first == pytest.approx(2 * second, abs=0.2)
    assert common == pytest.approx(1.5 * second, abs=0.2)


def test_the_axis_begins_at_zero_and_its_numbers_stand_where_the_marks_would() -> None:
    svg = drawn(figure("P1", 40.0), figure("P2", 20.0)).wide
    ticks = {
        word: float(x)
        for x, word in re.findall(r'translate\(([\d.]+),[\d.]+\)"[^>]*>([\d.]+)</text>', group(svg, "soft"))
    }
    marks = [x for x, _y in places(svg, "points")]
    assert ticks["40"] == pytest.approx(marks[0], abs=0.2)
    assert ticks["20"] == pytest.approx(marks[1], abs=0.2)


@pytest.mark.parametrize(("size", "width"), [("wide", WIDE), ("narrow", NARROW)])
def test_a_range_beyond_all_marks_still_fits_the_picture(size: str, width: int) -> None:
    svg = getattr(drawn(figure("P1", 40.0, standardised=45.0, low=40.0, high=80.0)), size)
    ends = [x for x, _y in places(svg, "ends")]
    assert max(ends) <= width - 2 * SIDE
    assert max(ends) == pytest.approx(2 * places(svg, "points")[0][0], abs=0.2)


def test_the_words_say_what_the_picture_shows_and_stand_at_the_marks() -> None:
    found = drawn(figure("P1", 40.0, standardised=45.0, low=44.0, high=46.0), figure("P2", 20.0))
    label = (
        "Hours per tonne: P1: 40.00, 45.00 at the crops all ran; P2: 20.00, "
        "shares no crop with any other press."
    )
    assert f'aria-label="{label}"' in found.narrow
    assert f'aria-label="{label}"' in found.wide
    assert {"P1", "P2", "as pressed 40.00", "as pressed 20.00"} <= set(words(found.narrow))
    assert "45.00 (44.00 to 46.00)" in words(found.narrow)
    assert "45.00 (44.00 to 46.00) at the crops all ran" in words(found.wide)


def test_no_words_lie_on_a_mark_or_a_range() -> None:
    for rate in (3.0, 20.0, 45.0, 60.0, 77.0, 100.0):
        svg = drawn(
            figure("P1", rate, standardised=rate, low=rate - 2, high=rate + 2), figure("P2", 100.0)
        ).narrow
        ends = [x for x, _y in places(svg, "ends")]
        for name in ("words", "strong"):
            for (x, y), text in zip(places(svg, name), words(group(svg, name)), strict=True):
                half = len(text) * 8 / 2
                for mark, height in places(svg, "points"):
                    beside = abs(x - mark) > half + 4
                    assert beside or abs(y - height) > 12, (rate, text)
                if name == "strong":
                    assert x - half > max(ends) or x + half < min(ends), (rate, text)


def test_a_us_reader_sees_hours_per_short_ton() -> None:
    svg = drawn(figure("P1", 66.139), system="us").narrow
    assert 'aria-label="Hours per short ton: P1: 60.00' in svg  # 66.139 h/t x 0.90718474 t
    assert "as pressed 60.00" in words(svg)


def test_a_press_without_a_figure_has_no_row_and_none_at_all_no_picture() -> None:
    assert side_by_side([figure("P1", None)]) is None
    svg = drawn(figure("P1", None), figure("P2", 20.0)).narrow
    assert "P1" not in words(svg)
    assert len(places(svg, "points")) == 1
