"""`manage.py track_record`."""

from __future__ import annotations

import json
from datetime import date
from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from tests.mills.dies_in_turn import many
from tests.mills.forecast_shop import Shop
from wearlog.equipment.models import PartType
from wearlog.history.models import LearnedFactors


def run(*arguments: str) -> str:
    out = StringIO()
    call_command("track_record", *arguments, stdout=out)
    return out.getvalue()


@pytest.fixture
def worn(shop: Shop) -> Shop:
    many(shop, shop.type("D5", "die", edges=2, new_mm=5.0, limit_mm=5.4, expected_life_kg=40_000.0))
    return shop


def test_the_table_has_a_line_for_each_lead_and_for_each_edge(worn: Shop) -> None:
    text = run("--as-of", "2026-06-01")
    assert "6 edges came to their limits" in text
    for lead in ("30 d", "60 d", "90 d"):
        assert any(line.strip().startswith(lead) for line in text.splitlines())
    assert [line.split()[1] for line in text.splitlines() if line.startswith("202")] == [
        f"D-{number}" for number in range(6)
    ]
    assert "came off, retired as worn" in text
    assert "Ranges are shown as worked out, before any correction" in text


def test_the_json_has_counts_and_the_days_that_were_said(worn: Shop) -> None:
    data = json.loads(run("--as-of", "2026-06-01", "--format", "json"))
    assert data["as_of"] == "2026-06-01"
    assert data["edges_at_limit"] == 6
    first = data["leads"][0]
    assert first["days_ahead"] == 30
    assert first["edges"] == 6
    assert first["held"] + first["came_before_range"] + first["came_after_range"] == first["with_range"]
    assert data["correction"]["factor_in_force"] == 1
    assert data["correction"]["early_factor"] == data["correction"]["late_factor_in_force"] == 1
    assert data["correction"]["part_types"] == data["correction"]["part_types_in_force"] == []
    assert data["correction"]["forward"]["edges"] == 6
    assert data["correction"]["forward"]["corrected"] == 0
    assert data["edges"][0]["part"] == "D-0"
    assert data["edges"][0]["reached_on"] == "2025-03-22"  # fitted on 1 January 2025, on for 80 days
    assert set(data["edges"][0]["said"]["30"]) == {
        "as_of", "early_on", "due_on", "late_on", "lumped_on", "basis",
    }  # fmt: skip


def test_both_say_what_is_in_force_for_which_part_types(worn: Shop) -> None:
    die = PartType.objects.get()
    day = date(2026, 5, 1)
    new = {"since": day, "judged": 40, "checked_on": day}
    LearnedFactors.objects.create(early=0.8, late=1.5, **new)
    LearnedFactors.objects.create(part_type=die, early=0.5, late=1.25, **new)
    said = json.loads(run("--as-of", "2026-06-01", "--format", "json"))["correction"]
    assert (said["early_factor_in_force"], said["late_factor_in_force"]) == (0.8, 1.5)
    assert said["factor_in_force"] == 1.15
    assert said["part_types_in_force"] == [{"part_type": "D5", "early_factor": 0.5, "late_factor": 1.25}]
    text = run("--as-of", "2026-06-01")
    assert "in force is the early day at 0.80 and the late day at 1.50 times its distance." in text
    assert "For part type D5 is in force" in text
    assert json.loads(run("--as-of", "2026-04-01", "--format", "json"))["correction"]["factor_in_force"] == 1


def test_below_five_edges_there_are_no_shares(worn: Shop) -> None:
    data = json.loads(run("--as-of", "2025-08-01", "--format", "json"))
    assert data["edges_at_limit"] == 2
    assert data["leads"][0]["share_held"] is None
    assert data["leads"][0]["error_against_lumped"] is None
    assert "%" not in next(line for line in run("--as-of", "2025-08-01").splitlines() if " 30 d" in line)


def test_an_empty_mill_is_told_when_its_record_begins(shop: Shop) -> None:
    assert "It begins with the first edge" in run("--as-of", "2026-06-01")


def test_a_day_that_is_none_is_refused_with_the_way_to_write_one(shop: Shop) -> None:
    with pytest.raises(CommandError, match="YYYY-MM-DD"):
        run("--as-of", "31.12.2026")
