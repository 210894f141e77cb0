"""Where marks and words of the chart over time stand."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wearlog.service.work import Action
from wearlog.web.drawing.charts.over_time import (
    HEIGHT,
    LEFT,
    NEAR,
    RIGHT,
    WIDTH,
    OverTime,
    marked,
    scale_top,
    spec,
)
from wearlog.web.drawing.charts.render import chart_svg
from wearlog.web.drawing.charts.room import CHARACTER, Room
from wearlog.web.drawing.charts.throughput import MARKED, MarkedWork, RatePoint

CROPS = ("rapeseed", "sunflower", "linseed")


def work(at: float, action: Action = Action.FLIP) -> MarkedWork:
    return MarkedWork(at, date(2026, 9, 1), action, "die D6-11")


def shown(points: Sequence[tuple[float, float, str]] = (), works: Sequence[MarkedWork] = ()) -> OverTime:
    """Points as (instant from 0 to 100, height, crop); a new crop begins a new stretch."""
    made, stretch = [], 0
    for number, (at, height, crop) in enumerate(points):
        stretch += number > 0 and crop != points[number - 1][2]
        made.append(RatePoint(date(2026, 9, 1), crop, at, at, height, 1.0, stretch))
    return OverTime(
        points=made,
        heights=[height for _, height, _ in points],
        crops=list(dict.fromkeys(crop for _, _, crop in points)),
        work=works,
        ticks=[(0.0, "Sep"), (30.0, "Oct")],
        left=0.0,
        right=100.0,
        last="last 15.6",
        today="today",
        words_of={action: action.value for action in MARKED},
    )


def svg_of(what: OverTime) -> str:
    return chart_svg(spec(what), label="Throughput")


@pytest.mark.parametrize(
    ("highest", "top", "step"),
    [(17.6, 20.0, 5.0), (9.9, 12.0, 2.0), (10.0, 12.0, 2.0), (0.07, 0.08, 0.02), (930.0, 1000.0, 200.0)],
)
def test_the_axis_begins_at_nothing_and_ends_at_a_round_number(
    highest: float, top: float, step: float
) -> None:
    assert scale_top([highest]) == (pytest.approx(top), pytest.approx(step))


def test_the_first_crop_is_filled_the_second_hollow_and_the_third_square() -> None:
    svg = svg_of(shown([(10, 16, "rapeseed"), (40, 13, "sunflower"), (70, 12, "linseed")]))
    points = svg.split('class="points"')[1].split("</g>")[0]
    first, second, third = points.split("/>")[:3]
    assert "<circle" in first
    assert 'fill="black"' in first
    assert "<circle" in second
    assert 'fill="white"' in second
    assert "<path" in third


def test_no_line_goes_from_one_stretch_to_the_next() -> None:
    points = [(10, 16, "rapeseed"), (20, 16, "rapeseed"), (30, 13, "sunflower"), (40, 13, "sunflower")]
    points += [(60, 16, "rapeseed"), (70, 16, "rapeseed")]
    svg = svg_of(shown(points))
    firm = re.findall(r'class="firm"><path d="([^"]*)" />', svg)
    broken = re.findall(r'class="broken"><path d="([^"]*)" stroke-dasharray="7,5" />', svg)
    assert [line.count("L") for line in firm] == [1, 1]
    assert [line.count("L") for line in broken] == [1]


def test_every_crop_and_the_last_point_have_their_word() -> None:
    points = [(10 * number, 16.0 - number, CROPS[number % 3]) for number in range(10)]
    svg = svg_of(shown(points))
    assert all(f">{word}</text>" in svg for word in (*CROPS, "last 15.6", "today", "Sep", "Oct"))


def test_where_work_lies_too_near_together_what_is_named_first_stands_for_both() -> None:
    found = list(marked(shown(works=[work(50, Action.MEASURE), work(51, Action.REPLACE), work(80)])))
    assert [(one.at, one.action) for one in found] == [(51, "replace"), (80, "flip")]


def test_a_crop_with_a_sign_of_markup_in_its_name_stays_a_word() -> None:
    svg = svg_of(shown([(10, 16, "<script>&"), (20, 16, "<script>&")]))
    assert "<script" not in svg
    assert "&lt;script&gt;&amp;</text>" in svg


INSTANTS = st.floats(0, 100, allow_nan=False)


@given(st.lists(st.tuples(INSTANTS, st.sampled_from(MARKED)), max_size=40))
def test_triangles_keep_their_distance_and_lie_on_the_picture(found: list[tuple[float, Action]]) -> None:
    what = shown(works=[work(at, action) for at, action in found])
    places = sorted(what.x(one.at) for one in marked(what))
    assert bool(places) == bool(found)
    assert all(0 <= place <= WIDTH for place in places)
    assert all(after - before >= NEAR for before, after in pairwise(places))


@given(st.lists(st.tuples(st.text("abcdef", min_size=1, max_size=14), INSTANTS), max_size=20))
def test_words_that_take_room_never_cover_each_other(found: list[tuple[str, float]]) -> None:
    room, placed = Room(-LEFT, WIDTH + RIGHT), []
    for word, at in found:
        x = room.take(word, at * WIDTH / 100, HEIGHT / 2)
        if x is not None:
            placed.append((x - len(word) * CHARACTER / 2, x + len(word) * CHARACTER / 2))
    placed.sort()
    assert all(left[1] <= right[0] for left, right in pairwise(placed))
    assert all(right <= WIDTH + RIGHT for _, right in placed)
