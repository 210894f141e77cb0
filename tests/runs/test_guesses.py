"""Seed that nobody weighed: how it is worked out, asked about, marked, and kept out of every rate."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from hypothesis import given
from hypothesis import strategies as st

from wearlog.equipment.models import Fitting, Part, PartType, Position, Press
from wearlog.logbook import actions
from wearlog.logbook.entries import NewRun
from wearlog.people import refs
from wearlog.people.models import AuditEntry, Mill, User
from wearlog.people.refusals import Doubtful, Refused
from wearlog.runs.models import Crop, Run, SeedHow
from wearlog.runs.queries import rate_of, usual_rate

NOW = datetime(2026, 3, 20, 18, 0, tzinfo=UTC)


class Shop:
    def __init__(self) -> None:
        self.press = Press.objects.create(code="P1", name="North press")
        self.die_place = Position.objects.create(press=self.press, name="die", kind="die")
        self.rape = Crop.objects.create(code="rapeseed")
        self.number = 0

    def die(self, size: int, since: datetime, until: datetime | None = None) -> None:
        kind = PartType.objects.get_or_create(code=f"die-{size}", defaults={"kind": "die", "size_mm": size})[
            0
        ]
        part = Part.objects.create(code=f"D{size}-{Part.objects.count()}", part_type=kind)
        Fitting.objects.create(part=part, position=self.die_place, fitted_at=since, removed_at=until)

    def run(self, days_ago: int, kg: float, *, hours: float = 8, how: str = "", **more: Any) -> Run:
        self.number += 1
        start = NOW - timedelta(days=days_ago)
        return Run.objects.create(
            ref=f"r{self.number}", press=self.press, crop=self.rape, started_at=start,
            hours_h=Decimal(str(hours)), seed_kg=Decimal(str(kg)), seed_how=how, **more,
        )  # fmt: skip

    def unknown(self, **more: Any) -> NewRun:
        fields: dict[str, Any] = {
            "press_id": self.press.pk, "crop_id": self.rape.pk, "seed_kg": None,
            "seed_how": "worked_out", "hours_h": Decimal(7), "ended_at": NOW, "ref": "new",
        }  # fmt: skip
        return NewRun(**(fields | more))


@pytest.fixture
def shop(mill: Mill) -> Shop:
    return Shop()


def doubts_of(shop: Shop, by: User, entry: NewRun) -> Doubtful:
    with pytest.raises(Doubtful) as doubtful:
        actions.log_run(by=by, at=NOW, entry=entry)
    return doubtful.value


def test_unknown_seed_is_the_usual_rate_times_the_hours_and_is_shown_before_it_is_kept(
    shop: Shop, operator: User
) -> None:
    """50, 52 and 56 kg an hour: the middle is 52, in 7 hours 364 kg."""
    for days, rate in ((3, 50), (2, 52), (1, 56)):
        shop.run(days, 8 * rate)
    doubts = doubts_of(shop, operator, shop.unknown()).doubts
    assert [doubt.code for doubt in doubts] == ["worked_out_364"]
    assert "7 hours at 52 kg an hour" in doubts[0].question
    assert "are 364 kg" in doubts[0].question
    assert not Run.objects.filter(ref="new").exists()
    run = actions.log_run(by=operator, at=NOW, entry=shop.unknown(), confirmed=["worked_out_364"])
    assert (run.seed_kg, run.seed_how) == (Decimal(364), "worked_out")
    kept = AuditEntry.objects.get(action="log").new
    assert kept is not None
    assert kept["seed_how"] == "worked_out"


def test_a_yes_to_one_amount_is_no_yes_to_another(shop: Shop, operator: User) -> None:
    for days in (3, 2, 1):
        shop.run(days, 400)
    with pytest.raises(Doubtful, match="350"):
        actions.log_run(by=operator, at=NOW, entry=shop.unknown(), confirmed=["worked_out_364"])


def test_runs_with_the_same_die_are_worked_from_before_all_others(shop: Shop, operator: User) -> None:
    """With the 6 mm die 60 kg an hour, with the 5 mm die that sits there now 40: 7 hours are 280 kg."""
    change = NOW - timedelta(days=4)
    shop.die(6, NOW - timedelta(days=30), change)
    shop.die(5, change)
    for days in (9, 8, 7, 6, 5):
        shop.run(days, 480)
    for days in (3, 2, 1):
        shop.run(days, 320)
    doubt = doubts_of(shop, operator, shop.unknown()).doubts[0]
    assert doubt.code == "worked_out_280"
    assert "the last 3 runs of rapeseed on North press with this die (5 mm)" in doubt.question


def test_with_too_few_runs_of_this_die_those_with_any_are_taken_and_it_is_said(
    shop: Shop, operator: User
) -> None:
    change = NOW - timedelta(days=2)
    shop.die(6, NOW - timedelta(days=30), change)
    shop.die(5, change)
    for days in (9, 8, 7):
        shop.run(days, 480)
    shop.run(1, 320)
    assert "with whatever die" in doubts_of(shop, operator, shop.unknown()).doubts[0].question


def test_with_nothing_to_work_from_the_refusal_says_what_to_do(shop: Shop, operator: User) -> None:
    shop.run(2, 400)
    shop.run(1, 400)
    with pytest.raises(Refused, match="Write your best guess and choose “about”") as refused:
        actions.log_run(by=operator, at=NOW, entry=shop.unknown())
    assert refused.value.field == "seed_kg"
    assert not Run.objects.filter(ref="new").exists()


def test_guesses_cant_feed_on_guesses(shop: Shop, operator: User) -> None:
    for days in (6, 5, 4):
        shop.run(days, 400)
    for days in (3, 2, 1):
        shop.run(days, 4000, how="worked_out")
    found = usual_rate(shop.press, shop.rape)
    assert found is not None
    assert (found.kg_per_h, found.runs) == (50.0, 3)
    assert doubts_of(shop, operator, shop.unknown()).doubts[0].code == "worked_out_350"


def test_about_tells_a_rate_and_is_kept_as_about(shop: Shop, operator: User) -> None:
    for days in (3, 2):
        shop.run(days, 400)
    entry = shop.unknown(seed_kg=Decimal(380), seed_how="about")
    run = actions.log_run(by=operator, at=NOW, entry=entry)
    assert run.seed_how == SeedHow.ABOUT
    assert usual_rate(shop.press, shop.rape) is not None


def test_unknown_seed_in_hours_by_the_clock(shop: Shop, operator: User) -> None:
    """Neither number is known: from 9 to 18 o'clock are 9 hours at 50 kg."""
    for days in (3, 2, 1):
        shop.run(days, 400)
    entry = shop.unknown(hours_h=None, started_at=NOW - timedelta(hours=9))
    assert doubts_of(shop, operator, entry).doubts[0].code == "worked_out_450"


def test_a_run_that_goes_on_is_not_worked_out_yet(shop: Shop, operator: User) -> None:
    for days in (3, 2, 1):
        shop.run(days, 400)
    with pytest.raises(Refused, match="written when it ends"):
        actions.log_run(by=operator, at=NOW, entry=shop.unknown(hours_h=None, started_at=NOW, ended_at=None))


def test_a_run_is_stopped_with_unknown_seed_and_the_same_stop_sent_twice_is_one(
    shop: Shop, operator: User
) -> None:
    for days in (3, 2, 1):
        shop.run(days, 400)
    run = Run.objects.create(
        ref="open", press=shop.press, crop=shop.rape, started_at=NOW - timedelta(hours=4), seed_kg=0
    )
    stop: dict[str, Any] = {
        "by": operator, "at": NOW, "run_id": run.pk, "ended_at": NOW, "seed_kg": None,
        "seed_how": "worked_out",
    }  # fmt: skip
    with pytest.raises(Doubtful):
        actions.stop_run(**stop)
    first = actions.stop_run(**stop, confirmed=["worked_out_200"])
    assert (first.seed_kg, first.seed_how) == (Decimal(200), "worked_out")
    again = actions.stop_run(**stop)
    assert again.pk == first.pk
    assert AuditEntry.objects.filter(action="stop").count() == 1


def test_the_amount_is_put_right_later_and_tells_a_rate_again(shop: Shop, owner: User) -> None:
    run = shop.run(1, 390, how="worked_out")
    corrected = actions.correct(
        by=owner, at=NOW, record=run, changes={"seed_kg": Decimal(410), "seed_how": ""}, reason="weighed"
    )
    assert (corrected.seed_kg, corrected.seed_how) == (Decimal(410), "")
    assert list(Run.objects.all().with_usable_rate()) == [corrected]


def test_a_word_that_the_log_does_not_have_is_refused(shop: Shop, operator: User) -> None:
    entry = shop.unknown(seed_kg=Decimal(5), seed_how="perhaps")
    with pytest.raises(Refused, match="one of"):
        actions.log_run(by=operator, at=NOW, entry=entry)
    with pytest.raises(IntegrityError), transaction.atomic():
        shop.run(1, 5, how="perhaps")


def test_an_entry_of_before_the_question_was_asked_keeps_its_fingerprint(shop: Shop) -> None:
    """So that a phone may send again what it kept over an update. The literal is the digest of such an entry
    as the program made it before this field came."""
    entry = NewRun(press_id=1, crop_id=1, seed_kg=Decimal(400), ref="p-1")
    assert refs.digest(entry) == "163a4fbf32e3a6b59ab88320535cbf0ade5a7b0b30e5bb46e7342e38ab0973ba"
    about = NewRun(press_id=1, crop_id=1, seed_kg=Decimal(400), ref="p-1", seed_how="about")
    assert refs.digest(about) != refs.digest(entry)


@given(st.lists(st.tuples(st.integers(1, 2000), st.integers(1, 24)), min_size=3, max_size=30))
def test_the_rate_lies_between_the_slowest_and_the_fastest_run(told: list[tuple[int, int]]) -> None:
    runs = [
        Run(
            started_at=NOW, ended_at=None, hours_h=Decimal(hours), seed_kg=Decimal(kg),
            ends_at=NOW + timedelta(hours=hours),
        )
        for kg, hours in told
    ]  # fmt: skip
    found = rate_of(runs)
    assert found is not None
    rates = [kg / hours for kg, hours in told]
    assert min(rates) <= found.kg_per_h <= max(rates)
