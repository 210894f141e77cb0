"""Which caution a task carries."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wearlog.equipment.models import Kind, Press
from wearlog.lockout.cautions.queries import caution_for, caution_for_press, cautions_for
from wearlog.lockout.models import EnergyKind, EnergySource
from wearlog.service.models import Action

ACTIONS = [str(value) for value in Action.values]
KINDS = ["", *(str(value) for value in Kind.values)]


def motor(**fields: str) -> EnergySource:
    return EnergySource(source="Main motor", kind=EnergyKind.ELECTRICAL, **fields)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("action", ACTIONS)
def test_every_task_at_a_press_warns_of_start_pressure_heat_and_the_heater_circuit(
    action: str, kind: str
) -> None:
    caution = caution_for(action=action, kind=kind, sources=[motor()])
    assert caution.signal_word == "WARNING"
    for words in (
        "can start by itself",
        "Pressure can stay behind a plugged die",
        "heater is often on a circuit of its own",
        "hot and stay hot",
    ):
        assert words in caution.text


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("action", ACTIONS)
def test_every_task_names_lock_tag_release_and_trying_the_start(action: str, kind: str) -> None:
    text = caution_for(action=action, kind=kind, sources=[motor()]).text
    order = ["shut the press down", "isolate every source", "their own lock and tag", "release or hold back"]
    order += ["try the start", "maker's manual", "licensed electrician"]
    places = [text.index(words) for words in order]
    assert places == sorted(places)


def test_heat_may_stay_under_control_where_a_head_is_opened_warm() -> None:
    text = caution_for(action="clean", kind="head", sources=[motor()]).text
    assert "under control instead of at zero" in text
    assert "heater isolated, temperature measured, gloves on, stand aside and loosen slowly" in text


def test_an_action_and_a_kind_that_nobody_knows_still_warn() -> None:
    caution = caution_for(action="juggle", kind="flywheel", sources=[])
    assert caution.signal_word == "WARNING"
    assert "can start by itself" in caution.text


def test_work_on_the_bench_that_can_only_cut_is_a_caution() -> None:
    caution = caution_for(action="polish", kind="die", sources=[], on_press=False)
    assert caution.signal_word == "CAUTION"
    assert "cut: wear gloves" in caution.text
    assert "fitting it is work at the press" in caution.text


def test_welding_on_the_bench_is_a_warning_although_the_part_lies_off_the_press() -> None:
    caution = caution_for(action="hard-face", kind="screw", sources=[], on_press=False)
    assert caution.signal_word == "WARNING"
    assert "harmful fume" in caution.text


def test_the_gravest_hazard_is_named_first() -> None:
    text = caution_for(action="replace", kind="screw", sources=[]).text
    assert text.index("can start by itself") < text.index("stay hot") < text.index("heavy")


@pytest.mark.parametrize(
    ("action", "kind", "words"),
    [
        ("replace", "belt", "draw fingers in"),
        ("inspect", "motor", "keep an electric charge"),
        ("clean", "filter", "under pressure"),
        ("replace", "barrel", "drops or rolls"),
        ("clean", "head", "spread them out to dry"),
        ("repair", "screw", "Welding and grinding"),
    ],
)
def test_a_task_names_what_is_particular_to_it(action: str, kind: str, words: str) -> None:
    assert words in caution_for(action=action, kind=kind, sources=[]).text
    assert words not in caution_for(action="measure", kind="die", sources=[]).text


def test_a_source_is_told_with_where_to_isolate_how_to_release_and_how_to_verify() -> None:
    source = motor(isolate_at="disconnect Q1", release_by="waiting ten minutes", verify_by="trying the start")
    assert caution_for(action="flip", kind="die", sources=[source]).isolation_points == (
        "Main motor (electrical): isolate at disconnect Q1; release or hold: waiting ten minutes; "
        "verify: trying the start",
    )


def point_of(source: EnergySource) -> str:
    (point,) = caution_for(action="flip", kind="die", sources=[source]).isolation_points
    return point


def test_a_source_of_which_nothing_is_known_says_so() -> None:
    assert point_of(motor()) == (
        "Main motor (electrical): how to isolate or release it is not recorded: find out before you start"
    )


def test_a_charge_that_is_released_still_asks_where_it_is_isolated() -> None:
    assert point_of(motor(release_by="waiting ten minutes")) == (
        "Main motor (electrical): where to isolate it is not recorded: find out before you start; "
        "release or hold: waiting ten minutes"
    )


def test_pressure_weight_and_heat_that_are_held_back_need_no_switch() -> None:
    for kind in ("pressure", "gravity", "thermal"):
        source = EnergySource(source="Plug behind the die", kind=kind, release_by="ease the head slowly")
        assert point_of(source).endswith("): release or hold: ease the head slowly")
        assert "how to isolate or release it is not recorded" in point_of(
            EnergySource(source="Plug behind the die", kind=kind)
        )


def test_a_press_without_sources_says_so_and_asks_to_record_them() -> None:
    caution = caution_for(action="flip", kind="die", sources=[])
    assert caution.isolation_points == ()
    assert "No isolation points are recorded for this press" in caution.text
    assert "have them recorded" in caution.text
    assert "No isolation points" not in caution_for(action="flip", kind="die", sources=[motor()]).text


words = st.text(st.characters(blacklist_categories=["Cs", "Cc"]), max_size=40)


@given(
    action=st.sampled_from(ACTIONS) | words,
    kind=st.sampled_from(KINDS) | words,
    places=st.lists(words, max_size=6),
    on_press=st.booleans(),
)
def test_there_is_always_a_word_a_text_and_a_line_for_each_source(
    action: str, kind: str, places: list[str], on_press: bool
) -> None:
    sources = [EnergySource(source=f"s{n}", kind="other", isolate_at=p) for n, p in enumerate(places)]
    caution = caution_for(action=action, kind=kind, sources=sources, on_press=on_press)
    assert caution.signal_word in ("WARNING", "CAUTION")
    assert "isolate every source" in caution.text
    assert len(caution.isolation_points) == len(sources)
    assert all(place in point for place, point in zip(places, caution.isolation_points, strict=True))
    assert ("have them recorded" in caution.text) == (not sources)


@pytest.mark.django_db
def test_many_presses_cost_as_many_queries_as_one(django_assert_num_queries) -> None:  # type: ignore[no-untyped-def]
    presses = [Press.objects.create(code=f"P{n}") for n in range(5)]
    for press in presses[1:]:
        EnergySource.objects.create(press=press, source="Main motor", kind="electrical", isolate_at="Q1")
    with django_assert_num_queries(2):  # sources, and the mill's own words
        cautions = cautions_for([press.pk for press in presses])
        made = [cautions.of(press.pk, action="flip", kind="die") for press in presses]
    assert [len(caution.isolation_points) for caution in made] == [0, 1, 1, 1, 1]


@pytest.mark.django_db
def test_a_press_is_told_its_own_sources_only() -> None:
    first, second = Press.objects.create(code="P1"), Press.objects.create(code="P2")
    EnergySource.objects.create(press=first, source="Main motor", kind="electrical", isolate_at="Q1")
    EnergySource.objects.create(press=second, source="Tractor shaft", kind="rotation", isolate_at="the cab")
    points = caution_for_press(first.pk, "flip", "die").isolation_points
    assert points == ("Main motor (electrical): isolate at Q1",)
