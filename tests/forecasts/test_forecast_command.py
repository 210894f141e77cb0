"""`manage.py forecast`: the published JSON, the table of a terminal and the CSV."""

from __future__ import annotations

import csv
import io
import json
from datetime import date

import pytest
from django.core.management import CommandError, call_command

from tests.mills.forecast_shop import Shop, day, when

KEYS = [
    "rule",
    "action",
    "press",
    "position",
    "part",
    "edge",
    "state",
    "trigger",
    "due_on",
    "early_on",
    "late_on",
    "left_kg",
    "left_h",
    "left_days",
    "basis",
    "why",
    "caution",
    "isolation_points",
]


def forecast(*words: str) -> str:
    out = io.StringIO()
    call_command("forecast", *words, stdout=out)
    return out.getvalue()


@pytest.fixture
def two_presses(shop: Shop) -> Shop:
    shop.press("P1", name="Old one", commissioned_on=day("2026-03-01"))
    shop.press("P2", isolate_at="breaker 7")
    shop.fit(shop.part("S1", shop.type("S", "screw", new_mm=70.0, limit_mm=69.0)), "2026-03-01")
    shop.rule("check magnet", "inspect", every_days=30, lead_days=5)
    shop.rule("screw at limit", "replace", kind="screw", at_limit=True)
    return shop


class TestJson:
    def test_it_is_one_object_with_the_day_and_the_items(self, two_presses: Shop) -> None:
        data = json.loads(forecast("--as-of", "2026-03-27", "--format", "json"))
        assert list(data) == ["as_of", "items"]
        assert data["as_of"] == "2026-03-27"
        assert all(list(one) == KEYS for one in data["items"])

    def test_an_item_reads_as_the_format_says(self, two_presses: Shop) -> None:
        items = json.loads(forecast("--as-of", "2026-03-27", "--format", "json"))["items"]
        first = next(one for one in items if one["rule"] == "check magnet" and one["press"] == "P1")
        text, caution, points = first.pop("why"), first.pop("caution"), first.pop("isolation_points")
        assert first == {
            "rule": "check magnet",
            "action": "inspect",
            "press": "P1",
            "position": "",
            "part": "",
            "edge": "",
            "state": "coming",
            "trigger": "days",
            "due_on": "2026-03-31",
            "early_on": "2026-03-31",
            "late_on": "2026-03-31",
            "left_kg": None,
            "left_h": None,
            "left_days": 4.0,
            "basis": "interval",
        }
        assert text == "30 days since the press's start on 1 March are over on 31 March."
        assert caution.startswith("WARNING: ")
        assert len(points) == 1
        assert "wall switch" in points[0]

    def test_what_can_t_be_told_is_null(self, two_presses: Shop) -> None:
        items = json.loads(forecast("--as-of", "2026-03-27", "--format", "json"))["items"]
        screw = next(one for one in items if one["rule"] == "screw at limit")
        assert (screw["state"], screw["basis"]) == ("unknown", "none")
        for key in ("due_on", "early_on", "late_on", "left_kg", "left_h", "left_days"):
            assert screw[key] is None, key

    def test_without_rules_the_list_is_empty(self, shop: Shop) -> None:
        assert json.loads(forecast("--as-of", "2026-03-27", "--format", "json")) == {
            "as_of": "2026-03-27",
            "items": [],
        }


class TestTheDay:
    def test_it_is_today_in_the_mill_s_zone_unless_given(
        self, two_presses: Shop, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        # 23:30 UTC is half past midnight of the next day in Vienna.
        monkeypatch.setattr("django.utils.timezone.now", lambda: when("2026-03-28 00:30"))
        assert json.loads(forecast("--format", "json"))["as_of"] == "2026-03-28"

    @pytest.mark.parametrize(
        "word", ["yesterday", "2026-02-30", "27.03.2026", "", "0001-01-01", "9999-12-31"]
    )
    def test_a_day_that_is_none_is_refused_with_a_hint(self, shop: Shop, word: str) -> None:
        with pytest.raises(CommandError, match="YYYY-MM-DD"):
            forecast("--as-of", word)


class TestTable:
    def test_each_press_has_its_items_and_below_them_cautions_and_isolation_points(
        self, two_presses: Shop
    ) -> None:
        text = forecast("--as-of", "2026-03-27")
        first, second = text.split("\nP2\n")
        assert "P1 · Old one" in first
        assert "COMING" in first
        assert "2026-03-31" in first
        assert "30 days since the press's start on 1 March" in " ".join(first.split())
        for block, point in ((first, "wall switch"), (second, "breaker 7")):
            assert "WARNING: " in block
            assert point in block
            assert block.index("WARNING: ") > block.index("[check magnet]")

    @pytest.mark.parametrize("columns", ["40", "80", "100", "300"])
    def test_no_line_is_wider_than_the_terminal_of_80_to_120_columns(
        self, two_presses: Shop, monkeypatch: pytest.MonkeyPatch, columns: str
    ) -> None:
        two_presses.press(
            "P3",
            name="A press with a name that goes on and on " * 2,
            isolate_at="grey box behind the hopper " * 6,
        )
        monkeypatch.setenv("COLUMNS", columns)
        lines = forecast("--as-of", "2026-03-27").splitlines()
        assert max(map(len, lines)) <= min(max(int(columns), 80), 120)

    def test_an_empty_forecast_says_what_to_record(self, shop: Shop) -> None:
        assert "record rules" in forecast("--as-of", "2026-03-27")


class TestCsv:
    def test_it_has_the_published_columns_with_cautions_and_isolation_points(self, two_presses: Shop) -> None:
        rows = list(csv.DictReader(io.StringIO(forecast("--as-of", "2026-03-27", "--format", "csv"))))
        assert list(rows[0]) == KEYS
        assert all(row["caution"].startswith("WARNING: ") for row in rows)
        assert {row["press"]: "breaker 7" in row["isolation_points"] for row in rows} == {
            "P1": False,
            "P2": True,
        }
        first = next(row for row in rows if row["press"] == "P1" and row["part"] == "")
        assert (first["due_on"], first["left_days"], first["left_kg"]) == ("2026-03-31", "4.0", "")

    def test_texts_that_a_spreadsheet_would_run_are_made_harmless_and_numbers_stay_numbers(
        self, shop: Shop
    ) -> None:
        shop.press("=cmd()", commissioned_on=date(2026, 3, 1))
        shop.rule("-2+3", "inspect", every_days=10)
        rows = list(csv.DictReader(io.StringIO(forecast("--as-of", "2026-03-27", "--format", "csv"))))
        assert (rows[0]["press"], rows[0]["rule"]) == ("'=cmd()", "'-2+3")
        assert rows[0]["left_days"] == "-16.0"
