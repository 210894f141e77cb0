"""How a task gets out of the program: never without its caution."""

from __future__ import annotations

import dataclasses
import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest
from django.template import Context, Template
from django.utils import translation
from hypothesis import given
from hypothesis import strategies as st

from wearlog.forecasts.items import DueItem
from wearlog.lockout.cautions.caution import Caution
from wearlog.lockout.cautions.hazards import ALL
from wearlog.lockout.cautions.queries import caution_for
from wearlog.lockout.cautions.steps import before_work
from wearlog.lockout.cautions.text import caution_as_text, caution_in_one_line, task_as_text
from wearlog.lockout.cautions.wordings import of_rows
from wearlog.lockout.models import CautionWording, EnergySource

CAUTION = Caution(
    signal_word="WARNING",
    text="The screw can start by itself. " * 4,
    isolation_points=("Main motor: isolate at Q1", "Heater: isolate at Q2 <in the office>"),
)
PANEL = Template("{% load lockout %}{% caution given %}")
LINES = Template("{% load lockout %}{% caution_as_text given %}")


def words_of(html: str) -> str:
    found: list[str] = []
    parser = HTMLParser()
    parser.handle_data = found.append  # type: ignore[method-assign]
    parser.feed(html)
    return " ".join(" ".join(found).split())


def test_the_panel_shows_word_text_and_every_point() -> None:
    shown = words_of(PANEL.render(Context({"given": CAUTION})))
    assert "WARNING" in shown
    assert " ".join(CAUTION.text.split()) in shown
    assert "Main motor: isolate at Q1" in shown
    assert "Heater: isolate at Q2 <in the office>" in shown


def test_a_long_list_of_points_keeps_every_name_in_sight_and_every_point_on_the_page() -> None:
    points = tuple(f"Source {number} (electrical): isolate at Q{number}" for number in range(10))
    html = PANEL.render(Context({"given": Caution("WARNING", "Mind the screw.", points)}))
    names = ", ".join(f"Source {number}" for number in range(10))
    assert f'<summary data-opens="How each is isolated">{names}</summary>' in html
    assert all(point in words_of(html) for point in points)


def test_the_whole_panel_folds_nothing_away() -> None:
    points = tuple(f"Source {number} (electrical): isolate at Q{number}" for number in range(10))
    text = caution_for(action="flip", kind="die", sources=[]).text
    given = Context({"given": Caution("WARNING", text, points)})
    html = Template("{% load lockout %}{% caution given full=True %}").render(given)
    assert "<details" not in html
    assert words_of(html).count("try the start, and turn the control back to off") == 1
    assert text in words_of(html)


def test_the_panel_lets_no_markup_through() -> None:
    assert "&lt;in the office&gt;" in PANEL.render(Context({"given": CAUTION}))


def test_the_panel_has_no_style_of_its_own() -> None:
    html = PANEL.render(Context({"given": CAUTION}))
    assert "style" not in html
    assert "<script" not in html


@pytest.mark.parametrize("wrong", [None, "", "WARNING: mind the screw", ("WARNING", "text", ())])
@pytest.mark.parametrize("template", [PANEL, LINES])
def test_a_template_without_a_caution_fails_instead_of_leaving_it_out(
    template: Template, wrong: object
) -> None:
    with pytest.raises(TypeError, match="shown with its Caution"):
        template.render(Context({"given": wrong}))


def test_a_template_with_a_misspelt_name_fails_too() -> None:
    with pytest.raises(TypeError, match="shown with its Caution"):
        PANEL.render(Context({}))


@pytest.mark.parametrize("wrong", [None, "", "WARNING"])
def test_a_task_cannot_be_turned_into_text_without_a_caution(wrong: object) -> None:
    for door in (caution_as_text, caution_in_one_line):
        with pytest.raises(TypeError, match="shown with its Caution"):
            door(wrong)  # type: ignore[operator]
    with pytest.raises(TypeError, match="shown with its Caution"):
        task_as_text("Flip the die", wrong)  # type: ignore[arg-type]


def test_a_due_item_has_no_default_for_its_caution() -> None:
    (field,) = [field for field in dataclasses.fields(DueItem) if field.name == "caution"]
    assert field.default is dataclasses.MISSING
    assert field.default_factory is dataclasses.MISSING


def test_text_is_folded_for_a_terminal_and_loses_no_word() -> None:
    text = task_as_text("Flip die D-07", CAUTION, details=["Why: it is worn.", ""])
    assert text.startswith("Flip die D-07\nWhy: it is worn.\n\nWARNING: The screw can start by itself.")
    assert max(len(line) for line in text.splitlines()) <= 76
    assert " ".join(CAUTION.text.split()) in " ".join(text.split())
    assert "\n  - Main motor: isolate at Q1\n" in text


def test_one_line_holds_everything_for_a_table_cell() -> None:
    line = caution_in_one_line(CAUTION)
    assert "\n" not in line
    assert line.startswith("WARNING: The screw")
    assert line.endswith(" | Main motor: isolate at Q1 | Heater: isolate at Q2 <in the office>")


readable = st.text(st.characters(categories=["L", "N", "P", "S", "Zs"]), min_size=1, max_size=120)


@given(text=readable, points=st.lists(readable, max_size=5))
def test_no_rendering_loses_a_word(text: str, points: list[str]) -> None:
    caution = Caution(signal_word="WARNING", text=text, isolation_points=tuple(points))
    plain = caution_as_text(caution).split()
    html = words_of(PANEL.render(Context({"given": caution}))).split()
    for words in (text.split(), *(point.split() for point in points)):
        for shown in (plain, html):
            assert any(shown[n : n + len(words)] == words for n in range(len(shown) + 1))


MANY = Caution(
    signal_word="WARNING",
    text=f"The screw can start by itself. {before_work()} The maker's manual comes first.",
    isolation_points=tuple(f"source {number} (electrical): isolate at Q{number}" for number in range(1, 6)),
)


def test_many_points_keep_every_name_in_sight_and_open_by_a_touch() -> None:
    html = " ".join(PANEL.render(Context({"given": MANY})).split())
    in_sight = re.sub(r"</summary>.*?</details>", "", html)
    assert "The screw can start by itself." in in_sight
    for number in range(1, 6):
        assert f"source {number}" in in_sight
        assert f"<li>source {number} (electrical): isolate at Q{number}</li>" in html


def test_few_points_are_in_sight_in_full() -> None:
    few = replace(MANY, isolation_points=MANY.isolation_points[:3])
    html = " ".join(PANEL.render(Context({"given": few})).split())
    assert "isolate at Q3" in re.sub(r"</summary>.*?</details>", "", html)


def test_on_paper_and_for_a_press_without_points_nothing_is_folded() -> None:
    paper = Template("{% load lockout %}{% caution given full=True %}")
    for html in (
        paper.render(Context({"given": MANY})),
        PANEL.render(Context({"given": replace(MANY, isolation_points=())})),
    ):
        assert "<details" not in html
        assert "Before you open or reach into anything" in html


BRIEF = Template("{% load lockout %}{% caution given brief=True %}")


def in_sight(html: str) -> str:
    """What a reader sees before any touch: all but what lies in a fold below its summary."""
    return words_of(re.sub(r"</summary>.*?</details>", "", " ".join(html.split())))


def a_die_to_flip(points: int) -> Caution:
    sources = [
        EnergySource(source=f"source {number}", kind="electrical", isolate_at=f"Q{number}")
        for number in range(1, points + 1)
    ]
    return caution_for(action="flip", kind="die", sources=sources)


def test_in_a_list_of_tasks_the_word_the_first_duty_and_every_hazard_stay_in_sight() -> None:
    html = BRIEF.render(Context({"given": a_die_to_flip(5)}))
    assert html.count("<details") == 1
    assert in_sight(html) == (
        f"⚠ WARNING {a_die_to_flip(5).version} First lock and tag all 5 points, release, try the start. "
        "can start by itself · pressure behind the die · live heater · hot head and oil · cuts"
    )


def test_what_a_list_of_tasks_folds_is_the_whole_caution() -> None:
    given = a_die_to_flip(5)
    shown = words_of(BRIEF.render(Context({"given": given})))
    for words in (given.text, *given.isolation_points):
        assert shown.count(words) == 1


def test_in_a_list_a_press_without_points_says_that_they_have_to_be_found() -> None:
    shown = in_sight(BRIEF.render(Context({"given": a_die_to_flip(0)})))
    assert "No isolation points are recorded for this press: find every energy source" in shown
    assert "Lock and tag each one, release, try the start." in shown


def test_in_a_list_one_point_is_spoken_of_as_one() -> None:
    assert "First lock and tag 1 point, release" in in_sight(
        BRIEF.render(Context({"given": a_die_to_flip(1)}))
    )


def test_the_mills_own_words_are_not_shortened() -> None:
    rows = [
        CautionWording(number=1, hazard="sharp-edges", added="Two of us were cut at this die"),
        CautionWording(number=2, hazard="every-task", added="Call the foreman first"),
        CautionWording(number=3, hazard="hot-head", instead="The head holds 140 °C for an hour"),
    ]
    given = caution_for(action="flip", kind="die", sources=[], wordings=of_rows(rows))
    shown = in_sight(BRIEF.render(Context({"given": given})))
    for words in (
        "Worn edges, burrs and chips cut: wear gloves. Two of us were cut at this die.",
        "Call the foreman first.",
        "The head holds 140 °C for an hour. Head, barrel and oil are hot.",
    ):
        assert words in shown


def test_a_caution_whose_hazards_have_no_names_is_not_shortened() -> None:
    assert in_sight(BRIEF.render(Context({"given": MANY}))) == in_sight(
        PANEL.render(Context({"given": MANY}))
    )


@pytest.mark.parametrize("language", ["en", "de", "fr"])
def test_every_hazard_has_a_name_of_its_own_that_fits_a_line(language: str) -> None:
    with translation.override(language):
        names = [str(hazard.short) for hazard in ALL]
    assert len(set(names)) == len(ALL)
    assert all(0 < len(name) <= 40 for name in names)


def test_a_version_changes_with_the_word_the_text_and_every_point() -> None:
    changed = [
        replace(CAUTION, signal_word="CAUTION"),
        replace(CAUTION, text=CAUTION.text + "Mind the belt."),
        replace(CAUTION, isolation_points=CAUTION.isolation_points[:1]),
        replace(CAUTION, isolation_points=CAUTION.isolation_points[::-1]),
        replace(CAUTION, texts=3),
    ]
    assert len({CAUTION.version, *(other.version for other in changed)}) == 6
    assert replace(CAUTION).version == CAUTION.version


def test_a_version_is_short_and_begins_with_the_number_of_the_wording() -> None:
    assert re.fullmatch(r"0-[0-9A-HJKMNP-TV-Z]{5}", CAUTION.version)
    assert replace(CAUTION, texts=12).version.startswith("12-")


def test_the_panel_and_the_plain_text_tell_the_version() -> None:
    assert CAUTION.version in words_of(PANEL.render(Context({"given": CAUTION})))
    assert caution_as_text(CAUTION).splitlines()[-1] == f"Version of this caution: {CAUTION.version}"
