from __future__ import annotations

import pytest

from wearlog.compare.charts import LEFT, RIGHT, WIDTH, per_tonne_chart
from wearlog.compare.grounds import PressFigure


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


def test_bars_are_as_long_as_their_figures_and_the_longest_fills_the_room() -> None:
    chart = per_tonne_chart([figure("P1", 40.0), figure("P2", 20.0)])
    assert chart is not None
    assert [bar.length for bar in chart.bars] == [WIDTH - LEFT - RIGHT, pytest.approx(107.0)]


def test_a_range_beyond_the_bars_still_fits_the_picture() -> None:
    chart = per_tonne_chart([figure("P1", 40.0, standardised=45.0, low=40.0, high=80.0)])
    assert chart is not None
    (bar,) = chart.bars
    assert bar.high is not None
    assert bar.high <= WIDTH - RIGHT


def test_the_words_say_what_the_picture_shows() -> None:
    chart = per_tonne_chart([figure("P1", 40.0, standardised=45.0), figure("P2", 20.0)])
    assert chart is not None
    assert (
        chart.description
        == "P1: 40.00, 45.00 at the crops all ran; P2: 20.00, shares no crop with any other press."
    )


def test_a_us_reader_sees_hours_per_short_ton() -> None:
    chart = per_tonne_chart([figure("P1", 66.139)], "us")
    assert chart is not None
    assert chart.title == "Hours per short ton of each press"
    assert chart.bars[0].words == "60.00"  # 66.139 h/t x 0.90718474 t


def test_a_press_without_a_figure_has_no_bar_and_none_at_all_no_picture() -> None:
    assert per_tonne_chart([figure("P1", None)]) is None
    chart = per_tonne_chart([figure("P1", None), figure("P2", 20.0)])
    assert chart is not None
    assert [bar.label for bar in chart.bars] == ["P2"]
