"""Answering doubts through the one door: with the correction or not at all, once, and kept in the logbook."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from pathlib import Path

import pytest
from django.utils import timezone

from tests.mills.forecast_shop import Shop
from wearlog.logbook import actions
from wearlog.logbook.exchange.exporting import export_logbook
from wearlog.logbook.exchange.importing import import_logbook
from wearlog.people.models import AuditEntry, Role, User
from wearlog.people.refusals import NotAllowed, Refused
from wearlog.runs.models import Cause, Run, SettledDoubt

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop() -> Shop:
    return Shop()


def accept(run: Run, *, by: User | None = None, seen: str = "1500") -> None:
    actions.accept_weight(
        by=by,
        at=timezone.now(),
        run=run,
        seed_kg=Decimal("150"),
        seen_kg=Decimal(seen),
        reason="Decimal point",
    )


def test_an_accepted_weight_is_corrected_with_its_reason_and_the_answer_is_kept(shop: Shop) -> None:
    run = shop.run("2026-03-02 06:00", 10, 1500)
    accept(run)
    run.refresh_from_db()
    assert run.seed_kg == 150
    kept = SettledDoubt.objects.get()
    assert (kept.press, kept.cause, kept.at, kept.accepted) == (run.press, Cause.PACE, run.started_at, True)
    entry = AuditEntry.objects.get(record="run", action="correct")
    assert (entry.reason, entry.old["seed_kg"], entry.new["seed_kg"]) == ("Decimal point", "1500", "150")


def test_a_weight_that_was_corrected_meanwhile_is_left_alone_and_nothing_is_answered(shop: Shop) -> None:
    run = shop.run("2026-03-02 06:00", 10, 1500)
    with pytest.raises(Refused, match="was corrected"):
        accept(run, seen="1400")
    run.refresh_from_db()
    assert run.seed_kg == 1500
    assert not SettledDoubt.objects.exists()


def test_who_only_logs_can_neither_accept_nor_decline(shop: Shop) -> None:
    run = shop.run("2026-03-02 06:00", 10, 1500)
    operator = User.objects.create_user("o", name="O", role=Role.OPERATOR)
    with pytest.raises(NotAllowed):
        accept(run, by=operator)
    with pytest.raises(NotAllowed):
        decline(run, by=operator)
    assert not SettledDoubt.objects.exists()


def decline(run: Run, *, by: User | None = None) -> SettledDoubt:
    return actions.settle_doubt(
        by=by,
        at=timezone.now(),
        press_id=run.press_id,
        cause=Cause.PACE,
        begins=run.started_at,
        accepted=False,
    )


def test_the_first_of_two_answers_stands_until_it_is_asked_again(shop: Shop) -> None:
    run = shop.run("2026-03-02 06:00", 10, 1500)
    first = decline(run)
    assert decline(run) == first
    assert SettledDoubt.objects.count() == 1
    actions.ask_again(by=None, at=timezone.now(), pk=first.pk)
    assert not SettledDoubt.objects.exists()
    assert list(AuditEntry.objects.filter(record="settleddoubt").values_list("action", flat=True)) == [
        "add",
        "remove",
    ]
    with pytest.raises(Refused, match="asked again already"):
        actions.ask_again(by=None, at=timezone.now(), pk=first.pk)


def exchange(*runs: Run) -> None:
    actions.accept_exchange(
        by=None,
        at=timezone.now(),
        run_ids=[run.pk for run in runs],
        begins=runs[0].started_at,
        press_id=runs[0].press_id,
        reason="Mixed up",
    )


def test_two_presses_that_were_mixed_up_change_runs_though_the_times_overlap(shop: Shop) -> None:
    one = shop.run("2026-03-02 06:00", 10, 150, press="P1")
    two = shop.run("2026-03-02 06:30", 10, 210, press="P2")
    exchange(one, two)
    one.refresh_from_db()
    two.refresh_from_db()
    assert (one.press.code, one.seed_kg, one.voided_at) == ("P2", 150, None)
    assert (two.press.code, two.seed_kg, two.voided_at) == ("P1", 210, None)
    assert AuditEntry.objects.filter(record="run", action="correct", reason="Mixed up").count() == 2


def test_an_exchange_onto_another_run_is_refused_and_changes_nothing(shop: Shop) -> None:
    one = shop.run("2026-03-02 06:00", 10, 150, press="P1")
    two = shop.run("2026-03-02 18:00", 10, 210, press="P2")
    shop.run("2026-03-02 06:30", 10, 215, press="P2")
    with pytest.raises(Refused):
        exchange(one, two)
    one.refresh_from_db()
    two.refresh_from_db()
    assert (one.press.code, two.press.code, one.voided_at, two.voided_at) == ("P1", "P2", None, None)
    assert not SettledDoubt.objects.exists()


def test_runs_of_one_press_alone_are_not_exchanged(shop: Shop) -> None:
    one = shop.run("2026-03-02 06:00", 10, 150)
    with pytest.raises(Refused, match="not of two presses"):
        exchange(one)


def test_answers_travel_with_the_logbook(shop: Shop, tmp_path: Path) -> None:
    run = shop.run("2026-03-02 06:00", 10, 1500)
    before = decline(run)
    export_logbook(by=None, target=tmp_path / "book")
    text = (tmp_path / "book" / "settled_doubts.csv").read_text(encoding="utf-8").splitlines()
    assert text[0] == "press,cause,at,accepted,settled_at"
    assert len(text) == 2
    SettledDoubt.objects.all().delete()
    import_logbook(by=None, at=timezone.now(), source=tmp_path / "book")
    after = SettledDoubt.objects.get()
    assert (after.press, after.cause, after.at, after.accepted) == (
        run.press,
        Cause.PACE,
        run.started_at,
        False,
    )
    assert abs(after.settled_at - before.settled_at) < timedelta(seconds=1)
