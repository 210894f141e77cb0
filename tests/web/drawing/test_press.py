"""The caliper strip, the press from the side and the gauge chart: where marks stand."""

from __future__ import annotations

from datetime import date

from django.template import Context, Template
from hypothesis import given
from hypothesis import strategies as st

from wearlog.equipment.models import Kind
from wearlog.forecasts.items import WearFigure
from wearlog.web.drawing.caliper import caliper
from wearlog.web.drawing.press import RADIUS, WIDTH, Seat, draw, spread


def wear(**changed: float | None) -> WearFigure:
    """A bore that opens from 5.00 to 5.40 mm: gauged 5.30, now about 5.32 (5.31 to 5.34)."""
    known: dict[str, float | None] = {
        "new_mm": 5.0, "limit_mm": 5.4, "measured_mm": 5.3, "now_mm": 5.32,
        "now_low_mm": 5.31, "now_high_mm": 5.34,
    }  # fmt: skip
    return WearFigure(**(known | changed), measured_on=date(2026, 3, 2))  # type: ignore[arg-type]


def strip(figure: WearFigure) -> str:
    return Template("{% load drawing %}{% caliper figure %}").render(Context({"figure": figure}))


class TestCaliper:
    def test_new_is_at_the_left_and_the_limit_at_88_percent(self) -> None:
        assert caliper(wear(now_mm=5.0)).jaw.x == "0%"  # type: ignore[union-attr]
        assert caliper(wear(now_mm=5.4)).jaw.x == "88%"  # type: ignore[union-attr]
        assert caliper(wear(now_mm=5.2)).jaw.x == "44%"  # type: ignore[union-attr]

    def test_a_screw_that_shrinks_wears_to_the_right_too(self) -> None:
        figure = wear(
            new_mm=70.0, limit_mm=69.0, measured_mm=69.5, now_mm=69.25, now_low_mm=69.3, now_high_mm=69.1
        )
        drawn = caliper(figure)
        assert drawn.gauged is not None
        assert drawn.jaw is not None
        assert (drawn.gauged.x, drawn.jaw.x) == ("44%", "66%")
        assert drawn.share == 75
        assert (drawn.stretch_x, drawn.stretch_width) == ("61.6%", "17.6%")

    def test_words_turn_inward_near_the_ends(self) -> None:
        anchors = [caliper(wear(now_mm=mm)).jaw.anchor for mm in (5.01, 5.2, 5.39)]  # type: ignore[union-attr]
        assert anchors == ["start", "middle", "end"]

    def test_past_the_limit_is_drawn_past_it_and_stays_on_the_page(self) -> None:
        drawn = caliper(wear(now_mm=5.9, now_low_mm=5.8, now_high_mm=6.0))
        assert drawn.past_limit
        assert drawn.jaw is not None
        assert drawn.jaw.x == "96.8%"

    def test_without_gauge_or_estimate_the_scale_stands_alone(self) -> None:
        drawn = caliper(wear(measured_mm=None, now_mm=None, now_low_mm=None, now_high_mm=None))
        assert drawn.gauged is None
        assert drawn.jaw is None
        assert drawn.stretch_x == ""
        assert drawn.share is None
        assert "Not gauged yet." in strip(drawn.wear)

    def test_the_figure_says_in_words_what_it_shows(self) -> None:
        words = " ".join(strip(wear()).split())
        assert "New 5.00 mm, limit 5.40 mm. Gauged 5.30 mm on" in words
        assert "Now about 5.32 mm, 80 % of the way. Probably between 5.31 mm and 5.34 mm." in words
        assert '<svg aria-hidden="true"' in words

    def test_a_us_reader_gets_inches(self) -> None:
        shown = Template('{% load drawing %}{% caliper figure "us" %}').render(Context({"figure": wear()}))
        assert "limit 0.2126 in" in shown
        assert " mm" not in shown

    @given(
        new=st.floats(1, 100),
        span=st.floats(0.01, 5) | st.floats(-0.9, -0.01),
        values=st.tuples(*[st.none() | st.floats(0, 200)] * 4),
    )
    def test_every_mark_stays_on_the_strip(
        self, new: float, span: float, values: tuple[float | None, ...]
    ) -> None:
        drawn = caliper(
            wear(
                new_mm=new,
                limit_mm=new + span,
                measured_mm=values[0],
                now_mm=values[1],
                now_low_mm=values[2],
                now_high_mm=values[3],
            )
        )
        places = [spot.x for spot in (drawn.gauged, drawn.jaw) if spot] + [drawn.stretch_x or "0%"]
        assert all(-2 <= float(place.rstrip("%")) <= 97 for place in places)
        assert float((drawn.stretch_width or "0%").rstrip("%")) >= 0


def seats(*kinds: str, barrel: str = "", start: int = 0) -> list[Seat]:
    return [
        Seat(start + number, kind, barrel, f"/parts/{start + number}/", f"{kind} {number}")
        for number, kind in enumerate(kinds)
    ]


class TestPress:
    def test_numbers_follow_the_seed(self) -> None:
        machine = draw(seats("motor", "die", "head", "screw", "magnet", "gearbox"))
        assert [callout.seat.kind for callout in machine.callouts] == [
            "magnet", "screw", "head", "die", "gearbox", "motor",
        ]  # fmt: skip
        assert [callout.number for callout in machine.callouts] == [1, 2, 3, 4, 5, 6]

    def test_a_die_hangs_right_of_the_screw_and_the_motor_left(self) -> None:
        x = {callout.seat.kind: callout.from_x for callout in draw(seats("motor", "die", "screw")).callouts}
        assert x["motor"] < x["screw"] < x["die"]

    def test_one_barrel_name_or_none_is_a_single_press(self) -> None:
        assert not draw(seats("screw", "die")).twin
        assert not draw(seats("screw", "die", barrel="only")).twin

    def test_a_twin_has_its_first_barrel_above_and_its_second_below(self) -> None:
        machine = draw(seats("screw", "die", barrel="a") + seats("screw", "die", barrel="b", start=10))
        assert machine.twin
        upper = [callout.y for callout in machine.callouts if callout.seat.barrel == "a"]
        lower = [callout.y for callout in machine.callouts if callout.seat.barrel == "b"]
        assert max(upper) < machine.first < machine.last < min(lower)

    def test_the_little_strip_has_its_jaw_where_the_wear_is(self) -> None:
        seat = Seat(1, "die", "", "/parts/1/", "die", wear(now_mm=5.4))
        callout = draw([seat]).callouts[0]
        assert callout.jaw_x == callout.strip_limit
        assert draw(seats("die")).callouts[0].jaw_x is None

    def test_a_press_without_positions_is_drawn_all_the_same(self) -> None:
        machine = draw([])
        assert machine.callouts == ()
        assert len(machine.lanes) == 1

    @given(
        st.lists(
            st.tuples(st.sampled_from([*Kind.values, "unheard-of"]), st.sampled_from(["", "left", "right"])),
            max_size=16,
        )
    )
    def test_every_position_gets_one_number_inside_the_drawing(self, places: list[tuple[str, str]]) -> None:
        given_seats = [
            Seat(key, kind, barrel, f"/parts/{key}/", f"{kind} {key}")
            for key, (kind, barrel) in enumerate(places)
        ]
        machine = draw(given_seats)
        assert sorted(callout.seat.key for callout in machine.callouts) == list(range(len(places)))
        assert [callout.number for callout in machine.callouts] == list(range(1, len(places) + 1))
        for callout in machine.callouts:
            assert RADIUS <= callout.x <= WIDTH - RADIUS
            assert RADIUS <= callout.y <= machine.height - RADIUS

    @given(st.lists(st.floats(0, WIDTH), min_size=1, max_size=9))
    def test_nine_numbers_of_a_row_never_touch_and_keep_their_order(self, wanted: list[float]) -> None:
        placed = spread(wanted, 62)
        pairs = sorted(zip(wanted, placed, strict=True))
        assert [place for _, place in pairs] == sorted(placed)
        gaps = [after - before for before, after in zip(sorted(placed), sorted(placed)[1:], strict=False)]
        assert all(gap >= 2 * RADIUS for gap in gaps)
