from __future__ import annotations

import io
import json

import pytest
from django.core.management import CommandError, call_command

from tests.mills.run_maker import RunMaker
from wearlog.people.models import Mill


def output_of(*arguments: str) -> str:
    out = io.StringIO()
    call_command("compare", *arguments, stdout=out)
    return out.getvalue()


def test_the_table_shows_rates_and_the_common_mix(run: RunMaker) -> None:
    run("P1", "flax", "2026-03-01 06:00", hours="5", kg="100")
    text = output_of("--by", "press")
    assert "Hours per tonne" in text
    assert "50.00" in text
    assert "Common crop mix: flax 100.0 %." in text


def test_the_table_names_what_is_left_out(run: RunMaker) -> None:
    run("P1", "flax", "2026-03-01 06:00", hours="5", kg="100")
    run("P1", "rape", "2026-03-02 06:00", hours="5", kg="100")
    run("P2", "flax", "2026-03-01 06:00", hours="5", kg="200")
    assert "Compared on flax; rape, 25.0 %, left out." in output_of("--by", "press")


def test_the_table_holds_press_against_press_where_no_crop_was_run_by_all(run: RunMaker) -> None:
    run("P1", "flax", "2026-03-01 06:00", hours="5", kg="100")
    run("P2", "flax", "2026-03-02 06:00", hours="4", kg="100")
    run("P2", "rape", "2026-03-02 12:00", hours="3", kg="100")
    run("P3", "rape", "2026-03-01 06:00", hours="2", kg="100")
    text = output_of("--by", "press")
    assert "P1 and P2   50.00   40.00  on flax; rape, 33.3 %, left out" in text
    assert "on rape, beside P2" in text


def test_the_json_is_plain_data_in_si_units(run: RunMaker) -> None:
    run("P1", "flax", "2025-08-01 06:00", hours="5", kg="100")
    data = json.loads(output_of("--format", "json", "--units", "us"))
    assert data["by"] == ["press", "crop", "season"]
    assert data["season_start"] == "07-01"
    (line,) = data["lines"]
    assert (line["press"], line["crop"], line["season"]) == ("P1", "flax", "2025/26")
    assert line["hours_per_tonne"] == 50.0
    assert line["oil_pct"] is None
    assert data["presses"][0]["crude"] == 50.0
    assert data["mix"] == [{"crop": "flax", "share_pct": 100.0}]


def test_the_csv_is_the_download_of_the_page(run: RunMaker) -> None:
    run("P1", "flax", "2025-08-01 06:00", hours="5", kg="100")
    assert (
        output_of("--by", "crop", "--format", "csv")
        .splitlines()[0]
        .startswith("crop,hours_per_tonne,kg_per_h,")
    )


def test_the_mills_own_units_are_the_default(run: RunMaker) -> None:
    run("P1", "flax", "2025-08-01 06:00", hours="5", kg="100")
    Mill.objects.update(units="us")
    assert "Hours per short ton" in output_of()
    assert "Hours per tonne" in output_of("--units", "metric")


def test_filters_and_the_seasons_start_reach_the_comparison(run: RunMaker) -> None:
    run("P1", "flax", "2026-02-01 06:00", hours="5", kg="100")
    run("P2", "rape", "2026-02-01 06:00", hours="5", kg="100")
    data = json.loads(output_of("--format", "json", "--press", "P2", "--season-start", "01-01"))
    assert [(line["press"], line["season"]) for line in data["lines"]] == [("P2", "2026")]


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--by", "moon"], "press, crop, season"),
        (["--season-start", "30-02"], "MM-DD"),
        (["--press", "P9"], "no press “P9” on record: choose from P1"),
        (["--season", "1999/00"], "choose from 2025/26"),
    ],
)
def test_what_cannot_be_compared_is_one_clear_sentence(
    run: RunMaker, arguments: list[str], says: str
) -> None:
    run("P1", "flax", "2026-03-01 06:00", hours="5", kg="100")
    with pytest.raises(CommandError, match=says):
        output_of(*arguments)


def test_an_empty_log_is_a_table_of_dashes(mill: Mill) -> None:
    assert "–" in output_of()
