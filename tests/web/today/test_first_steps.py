"""The first steps of an empty mill on its first page, until a part has a date."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import pytest
from django.test import Client
from django.utils import timezone

from wearlog.equipment.models import Fitting, Part, PartType, Position, Press
from wearlog.people.models import Mill, User
from wearlog.runs.models import Crop, Run
from wearlog.service.models import Rule


@pytest.fixture
def desk(client: Client, owner: User, mill: Mill) -> Client:
    client.force_login(owner)
    return client


def next_step(desk: Client) -> str:
    """The title of the step that is large; empty where no steps are shown."""
    steps = desk.get("/").context["first_steps"]
    return "" if steps is None else str(steps.next.title)


def test_each_step_that_is_done_makes_the_next_one_large_until_a_part_has_a_date(desk: Client) -> None:
    page = desk.get("/").content.decode()
    assert "?build=twin" in page
    assert "Nothing due" not in page
    assert next_step(desk) == "A press"
    press = Press.objects.create(code="North")
    place = Position.objects.create(press=press, name="die", kind="die")
    assert next_step(desk) == "The crops"
    rapeseed = Crop.objects.create(code="rapeseed")
    assert next_step(desk) == "What sits on it"
    die = Part.objects.create(code="D-1", part_type=PartType.objects.create(code="D", kind="die"))
    now = timezone.now()
    Fitting.objects.create(part=die, position=place, fitted_at=now - timedelta(days=2))
    assert next_step(desk) == "What to be reminded of"
    Rule.objects.create(code="gauge", action="measure", kind="die", every_kg=Decimal(3000))
    assert next_step(desk) == "The first run"
    Run.objects.create(
        ref="r1",
        press=press,
        crop=rapeseed,
        started_at=now - timedelta(days=1, hours=8),
        ended_at=now - timedelta(days=1),
        hours_h=8,
        seed_kg=200,
        ends_at=now - timedelta(days=1),
    )
    assert next_step(desk) == ""
    assert "first-steps" not in desk.get("/").content.decode()


def test_a_date_by_the_calendar_alone_does_not_end_the_steps(desk: Client) -> None:
    press = Press.objects.create(code="North", commissioned_on=timezone.localdate())
    Position.objects.create(press=press, name="magnet", kind="magnet")
    Rule.objects.create(code="clean", action="clean", position="magnet", every_days=7)
    assert next_step(desk) == "The crops"


def test_who_may_not_set_anything_up_is_not_asked_to(client: Client, operator: User, mill: Mill) -> None:
    client.force_login(operator)
    assert client.get("/").context["first_steps"] is None


def test_crops_are_picked_from_a_list_with_what_a_bushel_weighs(desk: Client) -> None:
    answer = desk.post("/crops/pick/", {"crops": ["linseed", "camelina"]})
    assert answer.status_code == 302
    weights = dict(Crop.objects.values_list("code", "bushel_kg"))
    assert weights == {"linseed": Decimal("25.401173"), "camelina": None}
    assert "linseed" not in [
        key for key, _ in desk.get("/crops/pick/").context["form"].fields["crops"].choices
    ]
    assert desk.post("/crops/pick/", {}).status_code == 422
