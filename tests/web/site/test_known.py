"""What is known of presses before their next run: of many at once the same as of each alone."""

from __future__ import annotations

import random
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest

from wearlog.equipment.models import Press
from wearlog.people.models import Mill
from wearlog.runs.models import Crop, Reading, Run
from wearlog.service.models import CropChange, Service
from wearlog.web.site import known

BEGIN = datetime(2026, 3, 2, 6, 0, tzinfo=UTC)


class Presses:
    """Presses and crops of which a test logs runs, readings and crop changes at hours after BEGIN."""

    def __init__(self, presses: int, crops: int) -> None:
        self.presses = [Press.objects.create(code=f"P{number:02}") for number in range(presses)]
        self.crops = [Crop.objects.create(code=f"crop{number}") for number in range(crops)]
        self.number = 0

    def ref(self) -> str:
        self.number += 1
        return f"r{self.number}"

    def run(
        self, press: Press, crop: Crop, hour: float, *, hours_h: str | None = "0", void: bool = False
    ) -> Run:
        """Without length where nothing else is said, so that several may begin at one instant."""
        return Run.objects.create(
            ref=self.ref(),
            press=press,
            crop=crop,
            started_at=BEGIN + timedelta(hours=hour),
            hours_h=None if hours_h is None else Decimal(hours_h),
            seed_kg=0,
            voided_at=BEGIN if void else None,
        )

    def reading(self, press: Press, hour: float, *, void: bool = False) -> Reading:
        return Reading.objects.create(
            press=press,
            read_at=BEGIN + timedelta(hours=hour),
            meter_h=Decimal(str(hour)),
            voided_at=BEGIN if void else None,
        )

    def change(self, press: Press, to: Crop, hour: float, *, void: bool = False) -> CropChange:
        service = Service.objects.create(
            ref=self.ref(),
            press=press,
            done_at=BEGIN + timedelta(hours=hour),
            action="clean",
            voided_at=BEGIN if void else None,
        )
        return CropChange.objects.create(service=service, to_crop=to, signed_by="Mira")


def random_mill() -> Presses:
    """Six presses, each with up to 130 runs of four crops. Hours are few, so that many instants are equal;
    a sixth of everything is voided, some runs go on, and one press has nothing."""
    chance = random.Random(13)
    mill = Presses(6, 5)
    for press in mill.presses[1:]:
        hours = chance.choice((12, 70))
        for _number in range(chance.choice((3, 70, 130))):
            crop, hour = mill.crops[chance.randrange(4)], chance.randrange(hours)
            mill.run(press, crop, hour, void=chance.random() < 1 / 6)
        for hour in range(0, hours, 5):
            mill.reading(press, hour, void=chance.random() < 1 / 6)
        for _number in range(4):
            mill.change(
                press, chance.choice(mill.crops), chance.randrange(hours), void=chance.random() < 1 / 6
            )
    mill.run(mill.presses[1], mill.crops[4], 200, hours_h=None)
    mill.run(mill.presses[2], mill.crops[4], 0, hours_h=None, void=True)
    return mill


def read_through(press: Press) -> known.BeforeRun:
    """The same by reading every row there is; of equal instants the row entered last counts."""
    rows = [row for row in Run.objects.all() if row.press_id == press.pk and row.voided_at is None]
    newest = sorted(rows, key=lambda run: (run.started_at, run.pk), reverse=True)
    readings = [row for row in Reading.objects.all() if row.press_id == press.pk and row.voided_at is None]
    changes = [
        row
        for row in CropChange.objects.select_related("service", "to_crop")
        if row.service.press_id == press.pk and row.service.voided_at is None
    ]
    last = next((run for run in newest if run.ends_at is not None), None)
    change = max(changes, key=lambda row: (row.service.done_at, row.pk), default=None)
    recent = [run.crop_id for run in newest[:60]]
    crops = sorted(
        Crop.objects.all(),
        key=lambda crop: (recent.index(crop.pk) if crop.pk in recent else 999, crop.code),
    )
    changed = change is not None and (last is None or change.service.done_at >= last.started_at)
    crop = change.to_crop if changed and change is not None else last.crop if last is not None else None
    return known.BeforeRun(
        reading=max(readings, key=lambda row: row.read_at, default=None),
        last_run=last,
        crops=crops,
        next_crop=crop,
        last_change=change,
    )


@pytest.mark.django_db
def test_what_is_known_of_many_presses_is_what_is_known_of_each_alone_and_what_all_rows_say(
    mill: Mill,
) -> None:
    presses = random_mill().presses
    found = known.before_runs(presses)
    assert list(found) == [press.pk for press in presses]
    for press in presses:
        expected = read_through(press)
        assert found[press.pk] == expected
        assert known.before_run(press) == expected
        assert known.last_run(press) == expected.last_run
        assert known.last_reading(press) == expected.reading


@pytest.mark.django_db
def test_a_press_without_any_record_has_all_crops_by_name_and_no_presumed_crop(mill: Mill) -> None:
    shop = Presses(2, 3)
    shop.run(shop.presses[0], shop.crops[2], 1)
    before = known.before_runs(shop.presses)[shop.presses[1].pk]
    assert before == known.BeforeRun(reading=None, last_run=None, crops=shop.crops, next_crop=None)
    assert before.usual_crop is None


@pytest.mark.django_db
def test_of_runs_that_began_at_one_instant_the_one_entered_last_is_the_last(mill: Mill) -> None:
    shop = Presses(2, 2)
    for press, (first, second) in zip(shop.presses, (shop.crops, shop.crops[::-1]), strict=True):
        shop.run(press, first, 5)
        shop.run(press, second, 5)
    found = [known.before_runs(shop.presses)[press.pk] for press in shop.presses]
    assert [before.next_crop for before in found] == [shop.crops[1], shop.crops[0]]
    assert [before.crops for before in found] == [shop.crops[::-1], shop.crops]


@pytest.mark.django_db
def test_a_crop_change_at_the_instant_of_the_last_run_says_the_next_crop_unless_it_is_voided(
    mill: Mill,
) -> None:
    shop = Presses(3, 3)
    rape, sunflower, flax = shop.crops
    for press, hour, void in zip(shop.presses, (5, 4, 5), (False, False, True), strict=True):
        shop.run(press, rape, 5)
        shop.change(press, sunflower, 3)
        shop.change(press, flax, hour, void=void)
    found = known.before_runs(shop.presses)
    assert [found[press.pk].next_crop for press in shop.presses] == [flax, rape, rape]


@pytest.mark.django_db
def test_voided_and_running_runs_are_not_the_last_one_yet_a_running_one_says_a_recent_crop(
    mill: Mill,
) -> None:
    shop = Presses(1, 3)
    press = shop.presses[0]
    shop.run(press, shop.crops[0], 1)
    shop.run(press, shop.crops[1], 2, void=True)
    shop.run(press, shop.crops[2], 3, hours_h=None)
    before = known.before_run(press)
    assert before.next_crop == shop.crops[0]
    assert before.crops == [shop.crops[2], shop.crops[0], shop.crops[1]]


@pytest.mark.django_db
def test_a_crop_counts_as_recent_for_sixty_runs(mill: Mill) -> None:
    shop = Presses(2, 2)
    for press, later in zip(shop.presses, (59, 60), strict=True):
        shop.run(press, shop.crops[1], 0)
        for hour in range(1, later + 1):
            shop.run(press, shop.crops[0], hour)
    third = Crop.objects.create(code="another")
    found = known.before_runs(shop.presses)
    # The crop of the sixtieth latest run comes before one never pressed; that of the sixty-first does not.
    assert [crop.code for crop in found[shop.presses[0].pk].crops] == ["crop0", "crop1", third.code]
    assert [crop.code for crop in found[shop.presses[1].pk].crops] == ["crop0", third.code, "crop1"]


@pytest.mark.django_db
@pytest.mark.parametrize("number", [1, 3, 25])
def test_five_queries_say_it_of_any_number_of_presses(
    number: int, mill: Mill, django_assert_num_queries: Callable[..., object]
) -> None:
    shop = Presses(number, 3)
    for press in shop.presses:
        shop.run(press, shop.crops[0], 1)
        shop.change(press, shop.crops[1], 1)
        shop.reading(press, 1)
    with django_assert_num_queries(5):  # type: ignore[attr-defined]
        found = known.before_runs(shop.presses)
        assert all(before.next_crop == shop.crops[1] for before in found.values())
        assert all(before.last_run.crop == shop.crops[0] for before in found.values() if before.last_run)
