"""The charts of hours per tonne from season to season: scale, points, words, and the table beside them."""

from __future__ import annotations

import re

import pytest

from wearlog.compare.over_seasons import OverSeasons, PressSeasons, SeasonRate
from wearlog.web.drawing.charts.by_season import HEIGHT, LEFT, WIDTH
from wearlog.web.drawing.charts.seasons_shown import SeasonPictures, season_pictures

NAMES = ("2023/24", "2024/25", "2025/26")


def rate(season: str, value: float, *, as_pressed: bool = False) -> SeasonRate:
    if as_pressed:
        return SeasonRate(season, 10.0, value, None, None, None)
    return SeasonRate(season, 10.0, value + 9, value, value - 2, value + 2)


def press(name: str, *values: float | None, on: tuple[str, ...] = ("flax",)) -> PressSeasons:
    seasons = [
        None if value is None else rate(season, value, as_pressed=not on)
        for season, value in zip(NAMES, values, strict=True)
    ]
    return PressSeasons(name, name, tuple(seasons), on)


def pictures(
    *presses: PressSeasons, on: tuple[str, ...] = ("flax",), system: str = "metric"
) -> SeasonPictures:
    found = season_pictures(OverSeasons(NAMES, presses, on, 0), system)
    assert found is not None
    return found


def group(svg: str, name: str) -> str:
    return svg.split(f'class="{name}"')[1].split("</g>")[0] if f'class="{name}"' in svg else ""


def heights(svg: str) -> list[float]:
    return [float(y) for y in re.findall(r"translate\([\d.]+,([\d.]+)\)", group(svg, "points"))]


def test_points_lie_as_high_as_the_axis_says_on_one_scale_for_all_presses() -> None:
    found = pictures(press("A", 60.0, 66.0, 72.0), press("B", 30.0, 30.0, 36.0))
    first, second = (one.svg for one in found.presses)
    numbers = [re.findall(r"translate\(-6,([\d.]+)\)[^>]*>(\d+)<", svg) for svg in (first, second)]
    assert numbers[0] == numbers[1]
    by_number = {int(word): float(y) - 5 for y, word in numbers[0]}  # the number stands a little lower
    per_hour = (by_number[0] - by_number[50]) / 50
    for svg, values in ((first, (60, 66, 72)), (second, (30, 30, 36))):
        assert [HEIGHT - y for y in heights(svg)] == pytest.approx(
            [value * per_hour for value in values], abs=1
        )


def test_the_table_has_the_numbers_of_the_points_with_their_range() -> None:
    found = pictures(press("A", 60.0, None, 72.0))
    assert [(row.season, row.crude, row.rate, row.span, row.seed) for row in found.rows] == [
        ("2023/24", "69.0", "60.0", "58.0 to 62.0", "10.00 t"),
        ("2025/26", "81.0", "72.0", "70.0 to 74.0", "10.00 t"),
    ]
    svg = found.presses[0].svg
    assert all(f">{row.rate}</text>" in svg for row in found.rows)


def test_a_season_without_runs_says_so_and_no_line_bridges_it() -> None:
    svg = pictures(press("A", 60.0, None, 72.0)).presses[0].svg
    assert ">no runs</text>" in svg
    assert not group(svg, "firm")
    assert group(pictures(press("A", 60.0, 61.0, None)).presses[0].svg, "firm")


def test_one_season_is_a_point_without_a_line() -> None:
    found = pictures(press("A", None, None, 72.0))
    assert heights(found.presses[0].svg)
    assert not group(found.presses[0].svg, "firm")
    assert found.sentence == "A 72.0 in 2025/26."


def test_the_sentence_has_the_first_and_the_last_season_of_each_press() -> None:
    found = pictures(press("A", 60.0, 66.0, 72.0), press("B", None, 30.0, 36.0))
    assert found.sentence == "A 60.0 in 2023/24, 72.0 in 2025/26; B 30.0 in 2024/25, 36.0 in 2025/26."
    assert found.ground == "on flax"


def test_as_pressed_is_a_hollow_diamond_and_said() -> None:
    found = pictures(press("A", 60.0, 66.0, 72.0, on=()), on=())
    points = group(found.presses[0].svg, "points")
    assert points.count("<path") == 3
    assert "circle" not in points
    assert found.presses[0].ground == "as pressed"


def test_hours_per_short_ton_for_a_us_reader() -> None:
    found = pictures(press("A", 60.0, 66.0, 72.0), system="us")
    # 72 h/t x 0.90718474 t
    assert ">65.3</text>" in found.presses[0].svg
    assert (
        'aria-label="Hours per short ton: A 54.4 in 2023/24, 65.3 in 2025/26, on flax."'
        in found.presses[0].svg
    )


def test_words_lie_on_the_picture() -> None:
    svg = pictures(press("A", 2.0, None, 172.0)).presses[0].svg
    for x, y, word in re.findall(r"<text[^>]*translate\(([-\d.]+),([-\d.]+)\)[^>]*>([^<]+)</text>", svg):
        if float(x) >= 0:
            assert -LEFT <= float(x) <= WIDTH + 10, word
            assert -14 <= float(y) <= HEIGHT + 28, word
