"""A press that is set up on one page: all that is stated of it is recorded, or nothing."""

from __future__ import annotations

import html
from datetime import timedelta
from decimal import Decimal

import pytest
from django.test import Client
from django.utils import timezone

from wearlog.equipment.builds import seats_of
from wearlog.equipment.kinds import Build
from wearlog.equipment.models import Fitting, Part, PartType, Position, Press
from wearlog.lockout.models import EnergySource
from wearlog.people.models import AuditEntry, Mill, User
from wearlog.runs.models import Crop, Reading
from wearlog.service.models import Measurement, Rule, Service
from wearlog.web.drawing.builds import numbered_seats
from wearlog.web.setup.forms.seats import keys_of
from wearlog.web.site.forms import new_ref


@pytest.fixture
def desk(client: Client, owner: User, mill: Mill) -> Client:
    client.force_login(owner)
    return client


def seat(build: Build, name: str) -> str:
    """The name of a place in the form, such as `die-1`."""
    numbered = numbered_seats(build)
    return next(
        key for key, (_number, each) in zip(keys_of(numbered), numbered, strict=True) if each.name == name
    )


def stated(build: Build = Build.HOLE_CYLINDER, **more: object) -> dict[str, object]:
    """A modest press: a screw and a die with their hours, a motor, one rule, one crop."""
    screw, die = seat(build, "screw"), seat(build, "die")
    return {
        "build": build.value,
        "code": "North",
        "meter_h": "14082",
        "pace": "13",
        f"{screw}-mark": "S-04",
        f"{screw}-size": "60",
        f"{screw}-hours": "1950",
        f"{die}-mark": "D8-04",
        f"{die}-size": "8",
        f"{die}-edges": "B",
        f"{die}-hours": "310",
        f"{die}-gauged": "8.21",
        f"{die}-limit": "8.4",
        "motor-has": "on",
        "motor-where": "main switch by the door",
        "rules": ["die-gauge"],
        "crops": ["rapeseed", "sunflower"],
        **more,
    }


def save(desk: Client, typed: dict[str, object]) -> None:
    answer = desk.post("/presses/new/", typed)
    assert answer.status_code == 302, answer.content.decode()


def test_all_that_is_stated_of_a_press_is_recorded_together(desk: Client) -> None:
    save(desk, stated())
    press = Press.objects.get()
    places = set(Position.objects.filter(press=press).values_list("name", flat=True))
    assert places == {place.name for place in seats_of(Build.HOLE_CYLINDER)}
    assert places >= {"screw", "die", "barrel", "magnet"}
    die = Part.objects.get(code="D8-04")
    assert (die.used_h, die.used_kg, die.used_on is None) == (310, Decimal(310 * 13), False)
    assert (die.part_type.size_mm, die.part_type.edges) == (8, 2)
    assert (die.part_type.new_mm, die.part_type.limit_mm) == (8, Decimal("8.4"))
    assert Fitting.objects.get(part=die).edge == "B"
    assert Measurement.objects.get().value_mm == Decimal("8.21")
    assert Service.objects.get().action == "measure"
    assert Reading.objects.get().meter_h == 14082
    assert EnergySource.objects.get().isolate_at == "main switch by the door"
    assert Rule.objects.get().every_kg == 3000
    assert sorted(Crop.objects.values_list("code", flat=True)) == ["rapeseed", "sunflower"]
    assert Crop.objects.get(code="rapeseed").bushel_kg == Decimal("22.679618")
    assert AuditEntry.objects.filter(action="add", record="press").count() == 1


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"screw-1-mark": "D8-04"}, "There is a part with the mark D8-04 already."),
        ({"die-1-limit": "8"}, "This is its size when new."),
        ({"screw-1-limit": "59", "screw-1-size": ""}, "Give its size when new as well"),
        ({"motor-where": ""}, "Main motor: say where, or untick it."),
        ({"heater-where": "the breaker"}, "You wrote where it is isolated. Tick it to record it."),
        ({"meter_h": "many"}, "many"),
        ({"die-1-hours": "8 x"}, ">Die: Hours so far: "),
        ({"code": ""}, "required"),
    ],
)
def test_what_is_wrong_in_one_place_keeps_all_of_it_from_being_recorded(
    desk: Client, more: dict[str, object], said: str
) -> None:
    answer = desk.post("/presses/new/", stated(**more))
    assert answer.status_code == 422
    assert said in answer.content.decode()
    for model in (Press, Position, Part, PartType, Fitting, EnergySource, Rule, Crop, Reading, Measurement):
        assert not model._default_manager.exists(), model


def test_what_the_domain_doubts_is_asked_and_nothing_is_recorded_until_it_is_said_to_be_right(
    desk: Client,
) -> None:
    typed = stated(**{"die-1-gauged": "80.21"})
    answer = desk.post("/presses/new/", typed)
    assert answer.status_code == 200
    text = answer.content.decode()
    assert "Is this right?" in text
    assert not Press.objects.exists()
    asked = answer.context["form"]
    save(
        desk,
        {**typed, "confirm": [doubt.code for doubt in asked.doubts], "asked_about": asked.entry_digest},
    )
    assert Measurement.objects.get().value_mm == Decimal("80.21")


def test_what_nobody_knows_stays_open(desk: Client) -> None:
    save(desk, {"build": "hole-cylinder", "code": "Bare"})
    assert Position.objects.count() == len(seats_of(Build.HOLE_CYLINDER))
    assert not Part.objects.exists()
    assert not EnergySource.objects.exists()
    assert not Rule.objects.exists()


def test_hours_of_a_part_without_a_mark_are_kept_under_the_name_of_its_place(desk: Client) -> None:
    save(
        desk, {"build": "hole-cylinder", "code": "North", f"{seat(Build.HOLE_CYLINDER, 'belt')}-hours": "900"}
    )
    assert Part.objects.get().code == "North belt"


def test_a_twin_has_a_screw_and_a_die_for_each_barrel_which_share_the_seed(desk: Client) -> None:
    save(
        desk,
        {
            "build": "twin",
            "code": "T",
            "pace": "20",
            f"{seat(Build.TWIN, 'die left')}-mark": "L",
            f"{seat(Build.TWIN, 'die left')}-hours": "100",
        },
    )
    barrels = dict(Position.objects.filter(kind="die").values_list("name", "barrel"))
    assert barrels == {"die left": "left", "die right": "right"}
    assert Position.objects.get(kind="gearbox").barrel == ""
    assert Part.objects.get().used_kg == 1000


def test_a_cage_press_has_worms_on_a_shaft_bars_and_a_choke_and_no_die(desk: Client) -> None:
    save(desk, {"build": "cage", "code": "C", "rules": ["worm-gauge", "bars-look"]})
    kinds = set(Position.objects.values_list("kind", flat=True))
    assert kinds >= {"worm", "shaft", "cage_bar", "choke"}
    assert not kinds & {"die", "screw", "barrel", "head"}
    assert Position.objects.filter(kind="worm").count() == 3


def test_another_like_it_begins_with_its_sizes_and_none_of_its_marks_hours_or_isolation_points(
    desk: Client,
) -> None:
    answer = desk.post("/presses/new/", {**stated(), "another": "1"})
    like = answer.headers["Location"]
    page = desk.get(like).content.decode()
    assert "Another like North" in page
    die = seat(Build.HOLE_CYLINDER, "die")
    form = desk.get(like).context["form"]
    assert [str(form[f"{die}-{name}"].value()) for name in ("size", "edges", "limit")] == [
        "8",
        "A",
        "8.4",
    ]
    assert form["pace"].value() == "13"
    for name in ("mark", "hours", "gauged"):
        assert not form[f"{die}-{name}"].value()
    assert "main switch by the door" not in page
    assert [each.key for each in form.new_rules if each.key == "die-gauge"] == []
    save(
        desk,
        {
            **stated(),
            "code": "South",
            f"{die}-mark": "D8-05",
            "screw-1-mark": "S-05",
            "rules": [],
            "crops": [],
        },
    )
    assert PartType.objects.count() == 2, "parts alike share their type"


@pytest.mark.parametrize("build", Build)
def test_nothing_that_a_person_states_is_ticked_beforehand(desk: Client, build: Build) -> None:
    form = desk.get(f"/presses/new/?build={build.value}").context["form"]
    ticked = [name for name in form.fields if name.endswith("-has") and form[name].value()]
    assert ticked == []
    assert not form["crops"].value()
    assert form["rules"].value() == [each.key for each in form.new_rules]


def test_the_build_is_chosen_first_by_a_picture_of_each(desk: Client) -> None:
    page = desk.get("/presses/new/").content.decode()
    for build in Build:
        assert f"?build={build.value}" in page
    assert page.count("<svg") == len(Build)


class TestARunOnAPressOfWhichNothingIsRecorded:
    def run_on(self, desk: Client, press: Press, *, days_ago: int = 0) -> str:
        end = timezone.localtime(timezone.now() - timedelta(days=days_ago), Mill.current().zone)
        crop = Crop.objects.get_or_create(code="rapeseed")[0]
        typed = {"ref": new_ref(), "press": press.pk, "crop": crop.pk, "seed": "80", "seed_unit": "kg"}
        typed |= {"hours_h": "4", "ended_at": end.strftime("%Y-%m-%dT%H:%M")}
        answer = desk.post("/log/run/", typed, follow=True)
        assert answer.status_code == 200
        return html.unescape(answer.content.decode())

    def test_it_is_said_that_no_part_collects_its_wear_and_the_parts_can_be_recorded(
        self, desk: Client
    ) -> None:
        save(desk, {"build": "hole-cylinder", "code": "Bare"})
        press = Press.objects.get()
        page = self.run_on(desk, press)
        assert "No part collects the wear of this run on: screw, die." in page
        assert f'<a href="/presses/{press.pk}/what-sits/">Record what sits there</a>' in page
        rows = {
            row.seat.name: row.key
            for row in desk.get(f"/presses/{press.pk}/what-sits/").context["form"].seat_rows()
        }
        answer = desk.post(
            f"/presses/{press.pk}/what-sits/",
            {f"{rows['die']}-mark": "D8-04", f"{rows['die']}-hours": "310", "pace": "10"},
        )
        assert answer.status_code == 302
        die = Part.objects.get()
        assert (die.used_h, die.used_kg) == (310, 3100)
        assert "No part collects the wear of this run on: screw." in self.run_on(desk, press, days_ago=1)
        again = desk.get(f"/presses/{press.pk}/what-sits/").context["form"].seat_rows()
        assert "die" not in [row.seat.name for row in again]

    def test_nothing_is_said_once_screw_and_die_are_recorded(self, desk: Client) -> None:
        save(desk, stated())
        assert "No part collects" not in self.run_on(desk, Press.objects.get())

    def test_a_press_without_any_place_for_a_screw_says_so(self, desk: Client) -> None:
        press = Press.objects.create(code="Bare")
        assert "Bare has no place for a screw or a die." in self.run_on(desk, press)

    def test_an_operator_is_told_whom_to_ask(self, client: Client, operator: User, mill: Mill) -> None:
        client.force_login(operator)
        press = Press.objects.create(code="Bare")
        Position.objects.create(press=press, name="die", kind="die")
        page = self.run_on(client, press)
        assert "Ask a maintainer to record what sits there." in page
        assert "what-sits" not in page


def test_a_press_of_which_all_is_recorded_asks_for_nothing_more(desk: Client) -> None:
    press = Press.objects.create(code="Bare")
    answer = desk.get(f"/presses/{press.pk}/what-sits/", follow=True)
    assert answer.redirect_chain == [(f"/presses/{press.pk}/", 302)]
    assert "is recorded at every place" in answer.content.decode()
