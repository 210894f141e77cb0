"""The sheets ask the database as often for three presses as for 25, and for one line a day as for three."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from tests.web.log.sheets import hidden, page, words
from wearlog.equipment.models import Press
from wearlog.logbook import actions
from wearlog.people.models import User
from wearlog.runs.models import Crop, Reading, Run
from wearlog.service.models import CropChange, Service

BEGIN = datetime(2026, 2, 23, 6, 0, tzinfo=UTC)
WEEK = "2026-03-02"  # a Monday
MOST = 30
AT_THE_FIRST_RUN = {"day": "2026-02-23", "until": "14:00", "seed": "400", "hours_h": "4", "meter_h": "99"}
FEW_AND_MANY = pytest.mark.parametrize("number", [3, 25])
Most = Callable[[int], CaptureQueriesContext]


def presses_at_work(number: int) -> list[Press]:
    """Presses with a run and a crop change, every second one logged by the meter."""
    rape, sunflower = (Crop.objects.create(code=code) for code in ("rapeseed", "sunflower"))
    presses = [Press.objects.create(code=f"P{count:02}", name=f"Press {count}") for count in range(number)]
    for count, press in enumerate(presses):
        key = {"ref": f"r{count}", "press": press}
        ended = {"ended_at": BEGIN + timedelta(hours=8)} if count % 2 else {"hours_h": Decimal(8)}
        Run.objects.create(**key, crop=rape, started_at=BEGIN, seed_kg=400, **ended)
        service = Service.objects.create(**key, done_at=BEGIN + timedelta(hours=9), action="clean")
        CropChange.objects.create(service=service, to_crop=sunflower, signed_by="Mira")
        if count % 2:
            Reading.objects.create(press=press, read_at=BEGIN + timedelta(hours=8), meter_h=Decimal(100))
    return presses


def filled_in(client: Client, address: str, **values: str) -> dict[str, str]:
    """The form of the page with these values in each of its lines."""
    form = hidden(page(client, address))
    lines = {name.rpartition("-")[0] for name in form if name.endswith("-seed")}
    return form | {f"{line}-{name}": value for line in lines for name, value in values.items()}


@pytest.fixture
def desk(client: Client, operator: User) -> Client:
    client.force_login(operator)
    return client


@pytest.fixture
def in_the_log(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """How many queries each call of `log_sheet` made, which stores the runs, each with its own checks."""
    made: list[int] = []
    log_sheet = actions.log_sheet

    def counted(**sheet: Any) -> list[Run]:
        with CaptureQueriesContext(connection) as asked:
            try:
                return log_sheet(**sheet)
            finally:
                made.append(len(connection.queries_log) - asked.initial_queries)

    monkeypatch.setattr(actions, "log_sheet", counted)
    return made


def own(asked: CaptureQueriesContext, in_the_log: list[int]) -> int:
    """The page's own queries, without those of the log."""
    return len(asked) - sum(in_the_log)


@pytest.mark.django_db
@FEW_AND_MANY
def test_thirty_queries_show_the_sheet_of_any_number_of_presses(
    number: int, desk: Client, django_assert_max_num_queries: Most
) -> None:
    presses_at_work(number)
    with django_assert_max_num_queries(MOST):
        html = page(desk, "/log/sheet/")
    assert html.count('aria-label="Seed, ') == number


@pytest.mark.django_db
@FEW_AND_MANY
def test_thirty_queries_refuse_a_sheet_of_any_number_of_presses(
    number: int, desk: Client, django_assert_max_num_queries: Most
) -> None:
    presses_at_work(number)
    form = filled_in(desk, "/log/sheet/", seed="four hundred")
    with django_assert_max_num_queries(MOST):
        answer = desk.post("/log/sheet/", form)
    assert answer.status_code == 422
    assert answer.content.decode().count('value="four hundred"') == number
    assert Run.objects.count() == number


@pytest.mark.django_db
@FEW_AND_MANY
def test_thirty_queries_of_its_own_are_enough_where_the_log_refuses_every_line(
    number: int, desk: Client, in_the_log: list[int]
) -> None:
    presses_at_work(number)
    form = filled_in(desk, "/log/sheet/", **AT_THE_FIRST_RUN)
    with CaptureQueriesContext(connection) as asked:
        answer = desk.post("/log/sheet/", form)
    assert answer.status_code == 422
    assert len(in_the_log) == 1
    assert own(asked, in_the_log) <= MOST
    assert Run.objects.count() == number


@pytest.mark.django_db
@FEW_AND_MANY
def test_thirty_queries_of_its_own_are_enough_to_store_a_sheet(
    number: int, desk: Client, in_the_log: list[int]
) -> None:
    presses = presses_at_work(number)
    form = filled_in(desk, "/log/sheet/", seed="400", hours_h="8", meter_h="108")
    with CaptureQueriesContext(connection) as asked:
        answer = desk.post("/log/sheet/", form)
    assert answer.status_code == 302, words(answer.content.decode())
    assert len(in_the_log) == 1
    assert own(asked, in_the_log) <= MOST
    assert Run.objects.count() == 2 * len(presses)
    assert {run.crop.code for run in Run.objects.filter(ref__startswith="p-")} == {"sunflower"}


@pytest.mark.django_db
@pytest.mark.parametrize("lines", [1, 3])
@FEW_AND_MANY
def test_thirty_queries_show_refuse_and_store_a_week_of_any_number_of_lines(
    number: int, lines: int, desk: Client, in_the_log: list[int], django_assert_max_num_queries: Most
) -> None:
    press = presses_at_work(number)[0]
    address = f"/presses/{press.pk}/week/?from={WEEK}&lines={lines}"
    with django_assert_max_num_queries(MOST):
        html = page(desk, address)
    assert html.count('aria-label="Seed, ') == 7 * lines
    form = filled_in(desk, address, seed="400", hours_h="x")
    with django_assert_max_num_queries(MOST):
        assert desk.post(address, form).status_code == 422
    assert not in_the_log
    form |= {name: "1" for name in form if name.endswith("-hours_h")}
    form |= {f"line{count}-until": f"{10 + count % lines * 3}:00" for count in range(7 * lines)}
    with CaptureQueriesContext(connection) as asked:
        assert desk.post(address, form).status_code == 302
    assert own(asked, in_the_log) <= MOST
    assert Run.objects.filter(press=press).count() == 1 + 7 * lines
