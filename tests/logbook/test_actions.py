from __future__ import annotations

from decimal import Decimal

from tests.conftest import at
from wearlog.equipment.models import Fitting, Part, PartType, Position, Press
from wearlog.logbook import actions
from wearlog.logbook.entries import NewRun, NewWork
from wearlog.people.models import User
from wearlog.runs.models import Crop


def test_walking_path(owner: User) -> None:
    now = at("2026-03-01 12:00")
    press = actions.save_thing(by=owner, at=now, thing=Press(code="P1"))
    die = actions.save_thing(by=owner, at=now, thing=Position(press=press, name="die", kind="die"))
    kind = actions.save_thing(by=owner, at=now, thing=PartType(code="D5", kind="die", edges=2))
    part = actions.save_thing(by=owner, at=now, thing=Part(code="D-1", part_type=kind))
    crop = actions.save_thing(by=owner, at=now, thing=Crop(code="rape"))
    fitting = actions.fit(
        by=owner, at=now, part_id=part.pk, edge="A", position_id=die.pk, fitted_at=at("2026-02-01 06:00")
    )
    run = actions.log_run(
        by=owner,
        at=now,
        entry=NewRun(press_id=press.pk, crop_id=crop.pk, seed_kg=Decimal(400), hours_h=Decimal(5)),
    )
    assert run.started_at == at("2026-03-01 07:00")
    service = actions.log_work(
        by=owner,
        at=now,
        entry=NewWork(press_id=press.pk, action="flip", done_at=now, expected_fitting_id=fitting.pk),
    )
    assert (service.part_id, service.edge) == (part.pk, "A")
    assert Fitting.objects.open().get().edge == "B"
