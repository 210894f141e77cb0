"""What the charts of wear show: sentence, scale, words and marks."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from django.utils import translation

from tests.mills.forecast_shop import Shop, day
from wearlog.equipment.models import Part
from wearlog.forecasts.edges import Edges
from wearlog.history.record import load
from wearlog.web.drawing.charts.against_seed import HEIGHT, LEFT, WIDTH
from wearlog.web.drawing.charts.wear_shown import PartCharts, part_charts


@pytest.fixture
def shop(db: None) -> Shop:
    return Shop()


@pytest.fixture
def die(shop: Shop) -> Part:
    """A die of which edge A has taken 10 t, gauged twice, and edge B nothing."""
    kind = shop.type("die-6", "die", edges=2, new_mm=6.0, limit_mm=6.4, expected_life_kg=20_000)
    die = shop.part("D6-11", kind)
    shop.fit(die, "2026-09-01", edge="A", position="die")
    shop.runs("2026-09-01", 20, kg=500)
    shop.gauge("2026-09-10 20:00", die, 6.1, edge="A")
    shop.gauge("2026-09-20 20:00", die, 6.2, edge="A")
    return die


def charts_of(part: Part, at: str = "2026-10-31", system: str = "metric") -> PartCharts:
    found = part_charts(Edges(load(day(at))), part.pk, name="die D6-11", system=system)
    assert found is not None
    return found


def group(svg: str, name: str) -> str:
    return svg.split(f'class="{name}"')[1].split("</g>")[0] if f'class="{name}"' in svg else ""


def circles(svg: str) -> list[tuple[float, float]]:
    """The middles of the gauges, in units of the plot."""
    places = re.findall(r'<circle transform="translate\(([-\d.]+),([-\d.]+)\)', group(svg, "points"))
    return [(float(x), float(y)) for x, y in places]


def test_the_sentence_has_seed_wear_and_the_limit_each_with_its_range(die: Part) -> None:
    sentence = charts_of(die).edges["A"].sentence
    number = r"\d+\.\d\d"
    assert re.fullmatch(
        rf"10\.00 t so far, about 6\.2\d mm \({number} to {number}\)\. "
        rf"It meets the limit of 6\.40 mm at about {number} t \({number} to {number} t\), "
        r"from this part's own gauges\.",
        sentence,
    )


def test_the_words_in_the_picture_are_those_of_the_sentence(die: Part) -> None:
    chart = charts_of(die).edges["A"]
    assert chart.along.limit is not None
    at = f"{chart.along.limit.mid_kg / 1000:.2f} t"
    assert f"at about {at} (" in chart.sentence
    assert f">limit at {at}</text>" in chart.svg
    assert ">limit 6.40</text>" in chart.svg
    assert chart.along.now is not None
    assert f">now about {chart.along.now.mid_mm:.2f}</text>" in chart.svg


def test_gauges_are_drawn_where_axes_and_table_have_them(die: Part) -> None:
    charts = charts_of(die)
    chart = charts.edges["A"]
    numbers = dict(re.findall(r'transform="translate\(([-\d.]+),[-\d.]+\)"[^>]*>(\d+)</text>', chart.svg))
    # 5 t and 10 t, as the axis counts them: the middles of its numbers say how wide a tonne is.
    zero, ten = (next(float(x) for x, word in numbers.items() if word == wanted) for wanted in ("0", "10"))
    tonne = (ten - zero) / 10
    found = circles(chart.svg)
    assert [round(x / tonne, 1) for x, _ in found] == [5.0, 10.0]
    # 6.1 and 6.2 mm lie at a quarter and a half of the way from new to the limit.
    limit = found[0][1] - 3 * (found[0][1] - found[1][1])
    rule = re.search(rf'translate\(0,([\d.]+)\)" x2="{WIDTH}"', group(chart.svg, "rules"))
    assert rule is not None
    assert float(rule[1]) == pytest.approx(limit, abs=0.5)


def test_both_edges_have_one_scale(die: Part) -> None:
    charts = charts_of(die)
    axes = [re.findall(r">(\d[\d.]*)</text>", chart.svg) for chart in charts.edges.values()]
    assert axes[0] == axes[1]
    assert charts.axes == "mm over t of seed"


def test_an_edge_that_rests_or_was_never_used_says_so(shop: Shop, die: Part) -> None:
    charts = charts_of(die)
    assert [chart.state for chart in charts.edges.values()] == ["at work", "not used yet"]
    assert charts.edges["B"].sentence.startswith("Not used yet. It meets the limit of 6.40 mm at about ")
    assert group(charts.edges["B"].svg, "broken")
    assert not group(charts.edges["B"].svg, "firm")


def test_a_gauge_that_counts_little_is_hollow_and_says_so(shop: Shop, die: Part) -> None:
    for number in range(1, 10):
        shop.gauge(f"2026-09-{2 * number:02d} 21:00", die, 6.0 + 0.02 * number, edge="A")
    shop.gauge("2026-09-15 20:00", die, 6.38, edge="A")
    chart = charts_of(die).edges["A"]
    assert group(chart.svg, "points").count('fill="white"') == 1
    assert re.search(r">(6\.38, )?counts little</text>", chart.svg)


def test_work_and_time_off_are_named_with_their_days(shop: Shop) -> None:
    screw = shop.part("S-1", shop.type("screw", "screw", new_mm=60.0, limit_mm=59.0, expected_life_kg=40_000))
    shop.fit(screw, "2026-09-01", "2026-09-20 23:00")
    shop.fit(screw, "2026-10-05")
    shop.runs("2026-09-01", 20, kg=500)
    shop.runs("2026-10-05", 10, kg=500)
    shop.serve("2026-09-10 20:00", "polish", part=screw)
    svg = charts_of(screw).edges[""].svg
    assert ">polish 10 Sep</text>" in svg
    assert ">off 20 Sep, back 5 Oct</text>" in svg
    assert group(svg, "work").count("<path") == 2


def test_each_crop_is_named_once_at_least_under_its_texture(shop: Shop, die: Part) -> None:
    shop.runs("2026-10-01", 8, kg=500, crop="sunflower")
    shop.runs("2026-10-10", 8, kg=500, crop="linseed")
    svg = charts_of(die).edges["A"].svg
    assert all(f">{crop}</text>" in svg for crop in ("rapeseed", "sunflower", "linseed"))
    # one outline for each, and a texture in the second and the third
    assert group(svg, "bars").count("<path") == 5


def test_a_limit_that_was_passed_says_where(shop: Shop, die: Part) -> None:
    for on, value in (("12", 6.3), ("14", 6.35), ("16", 6.4), ("20", 6.5)):
        shop.gauge(f"2026-09-{on} 21:00", die, value, edge="A")
    assert "It went past the limit of 6.40 mm at about " in charts_of(die).edges["A"].sentence


def test_a_retired_part_has_nothing_to_come(shop: Shop, die: Part) -> None:
    Part.objects.filter(pk=die.pk).update(retired_on=day("2026-10-01"), retired_because="worn")
    die.fittings.update(removed_at="2026-10-01T10:00Z")
    chart = charts_of(die).edges["B"]
    assert (chart.state, group(chart.svg, "broken")) == ("not used yet", "")
    assert charts_of(die).edges["A"].state == "retired"


@pytest.fixture
def bare(shop: Shop) -> Part:
    """A die of a type of which nothing is known but its sizes."""
    bare = shop.part("D-1", shop.type("die-8", "die", new_mm=8.0, limit_mm=8.4))
    shop.fit(bare, "2026-09-01", position="die")
    return bare


def test_with_nothing_known_there_are_axis_and_limit_and_what_would_help(shop: Shop, bare: Part) -> None:
    chart = charts_of(bare).edges[""]
    assert chart.sentence == "Nothing yet: two gauges, with some tonnes between them, give a first line."
    assert ">limit 8.40</text>" in chart.svg
    assert not any(group(chart.svg, name) for name in ("firm", "broken", "range", "points"))


def test_one_gauge_before_any_seed_is_a_point_and_no_line(shop: Shop, bare: Part) -> None:
    shop.gauge("2026-09-01 05:00", bare, 8.01)
    chart = charts_of(bare).edges[""]
    assert len(circles(chart.svg)) == 1
    assert not group(chart.svg, "firm")


def test_in_inches_and_pounds(die: Part) -> None:
    charts = charts_of(die, system="us")
    assert charts.axes == "in over short tons of seed"
    # 10 t are 11.0 short tons, 6.4 mm 0.2520 in
    assert charts.edges["A"].sentence.startswith("11.0 short tons so far, about 0.24")
    assert ">limit 0.2520</text>" in charts.edges["A"].svg


def words_of(svg: str) -> Iterator[tuple[float, float, str]]:
    for x, y, word in re.findall(r"<text[^>]*translate\(([-\d.]+),([-\d.]+)\)[^>]*>([^<]+)</text>", svg):
        yield float(x), float(y), word


@pytest.mark.parametrize("language", ["en", "de", "fr"])
def test_words_lie_on_the_picture_in_each_language(die: Part, language: str) -> None:
    with translation.override(language):
        svg = charts_of(die).edges["A"].svg
    for x, y, word in words_of(group(svg, "words") + group(svg, "strong") + group(svg, "now")):
        half = len(word) * 4.6
        assert x - half >= -LEFT, word
        assert x + half <= WIDTH + 10, word
        assert -46 <= y <= HEIGHT + 100
