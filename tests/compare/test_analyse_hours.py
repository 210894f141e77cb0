"""`manage.py analyse hours` on a logbook's files. No test here has a database: the command opens none."""

from __future__ import annotations

import io
import json
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command

RUNS = "ref,press,started_at,ended_at,hours_h,through\n"
READINGS = "press,read_at,meter_h,kind\n"


def output_of(tmp_path: Path, runs: str, readings: str, *options: str) -> str:
    (tmp_path / "runs.csv").write_text(runs, encoding="utf-8")
    (tmp_path / "readings.csv").write_text(readings, encoding="utf-8")
    out = io.StringIO()
    files = (str(tmp_path / "runs.csv"), "--readings", str(tmp_path / "readings.csv"))
    call_command("analyse", "hours", *files, *options, stdout=out)
    return out.getvalue()


def found(tmp_path: Path, runs: str, readings: str = "", *options: str) -> dict[str, Any]:
    """What is printed as JSON for rows of runs and readings, the headers put in front."""
    text = output_of(tmp_path, RUNS + runs, READINGS + readings, "--format", "json", *options)
    data: dict[str, Any] = json.loads(text)
    return data


def refused(tmp_path: Path, runs: str, readings: str, *options: str) -> str:
    with pytest.raises(CommandError) as caught:
        output_of(tmp_path, runs, readings, *options)
    assert caught.value.returncode == 2
    assert "\n" not in str(caught.value)
    return str(caught.value)


# --- worked by hand ----------------------------------------------------------------------------------


def test_each_run_has_its_hours_and_where_they_come_from_in_the_order_of_the_file(tmp_path: Path) -> None:
    data = found(
        tmp_path,
        "z,P1,2026-03-03T06:00:00+01:00,,,\n"
        "b,P1,2026-03-02T06:00:00+01:00,2026-03-02T10:30:00+01:00,,\n"
        "a,P1,2026-03-01T06:00:00+01:00,2026-03-01T12:00:00+01:00,,\n"
        "c,P1,2026-02-27T06:00:00+01:00,2026-02-27T12:00:00+01:00,5.25,\n",
        "P1,2026-03-01T12:00:00+01:00,104.5,reading\nP1,2026-03-01T06:00:00+01:00,100,\n",
    )
    assert data["runs"] == [
        {"ref": "z", "press": "P1", "hours": None, "press_hours": None, "source": None, "told": None},
        {"ref": "b", "press": "P1", "hours": 4.5, "press_hours": 4.5, "source": "clock", "told": None},
        {"ref": "a", "press": "P1", "hours": 4.5, "press_hours": 4.5, "source": "meter", "told": None},
        {"ref": "c", "press": "P1", "hours": 5.25, "press_hours": 5.25, "source": "written", "told": None},
    ]


def test_a_run_that_only_has_hours_ends_after_them(tmp_path: Path) -> None:
    data = found(
        tmp_path,
        "a,P1,2026-03-01T06:00:00Z,,3,\nb,P1,2026-03-01T09:00:00Z,2026-03-01T12:00:00Z,,\n",
        "P1,2026-03-01T06:00:00Z,100,\nP1,2026-03-01T12:00:00Z,105.5,\n",
    )
    # 5.5 h on the meter less 3 h of the run before.
    assert [run["hours"] for run in data["runs"]] == [3, 2.5]
    assert data["presses"][0]["stretches"] == [
        ["2026-03-01T06:00:00+00:00", "2026-03-01T12:00:00+00:00", 5.5, 5.5, 0, True]
    ]


def test_a_press_by_its_meter_has_its_runs_scaled_and_unlogged_hours_told(tmp_path: Path) -> None:
    runs = (
        "a,P1,2026-03-01T06:00:00Z,2026-03-01T12:00:00Z,6,\n"
        "b,P1,2026-03-01T14:00:00Z,2026-03-01T18:00:00Z,4,\n"
        "c,P1,2026-03-02T06:00:00Z,2026-03-02T08:00:00Z,2,\n"
    )
    readings = "P1,2026-03-01T00:00:00Z,1000,\nP1,2026-03-02T00:00:00Z,1005,\nP1,2026-03-03T00:00:00Z,1010,\n"
    by_meter = found(tmp_path, runs, readings, "--by-meter")
    # 10 h logged where the meter counted 5; then 2 h where it counted 5.
    assert [(run["hours"], run["source"], run["told"]) for run in by_meter["runs"]] == [
        (3, "meter", "scaled"),
        (2, "meter", "scaled"),
        (2, "written", None),
    ]
    assert [stretch[2:] for stretch in by_meter["presses"][0]["stretches"]] == [
        [5, 5, 0, True],
        [5, 2, 3, True],
    ]
    by_runs = found(tmp_path, runs, readings)
    assert [run["hours"] for run in by_runs["runs"]] == [6, 4, 2]


@pytest.mark.parametrize(
    ("meter", "hours", "word"),
    [
        ("100", 6, "stood_still"),
        ("107", 6.2, "held_down"),
        ("105.5", 5.5, None),
    ],
)
def test_what_the_meter_can_not_tell_is_said_in_a_word(
    tmp_path: Path, meter: str, hours: float, word: str | None
) -> None:
    # The run takes 6 h of the clock.
    data = found(
        tmp_path,
        "a,P1,2026-03-01T12:00:00Z,2026-03-01T18:00:00Z,,\n",
        f"P1,2026-02-28T18:00:00Z,100,\nP1,2026-03-01T18:00:00Z,{meter},\n",
    )
    run = data["runs"][0]
    assert (run["hours"], run["told"]) == (pytest.approx(hours, abs=1e-9), word)


def test_a_meter_that_ran_ahead_of_the_clock_leaves_the_run_its_clock(tmp_path: Path) -> None:
    # Twice 0.15 h ahead, each time too little to be a slip; together more than the 0.2 h that rounding makes.
    data = found(
        tmp_path,
        "a,P1,2026-03-01T12:00:00Z,2026-03-01T18:00:00Z,,\n",
        "P1,2026-03-01T12:00:00Z,100,\nP1,2026-03-01T15:00:00Z,103.15,\nP1,2026-03-01T18:00:00Z,106.3,\n",
    )
    assert (data["runs"][0]["hours"], data["runs"][0]["told"]) == (6, "ran_ahead")
    assert data["presses"][0]["stretches"][0][2:] == [pytest.approx(6.3, abs=1e-9), 6, 0, False]


def test_a_run_for_which_the_others_leave_nothing_keeps_its_clock(tmp_path: Path) -> None:
    data = found(
        tmp_path,
        "a,P1,2026-03-01T06:00:00Z,2026-03-01T09:00:00Z,3,\nb,P1,2026-03-01T09:00:00Z,2026-03-01T12:00:00Z,,\n",
        "P1,2026-03-01T06:00:00Z,100,\nP1,2026-03-01T12:00:00Z,102,\n",
    )
    assert (data["runs"][1]["hours"], data["runs"][1]["source"], data["runs"][1]["told"]) == (
        3,
        "clock",
        "none_left",
    )


def test_slips_and_meters_replaced_without_a_word_are_listed_in_utc(tmp_path: Path) -> None:
    days = [100, 104, 1008, 112, 116, 5, 9, 13, 17]
    readings = "".join(f"P1,2026-03-0{day}T18:00:00+01:00,{meter},\n" for day, meter in enumerate(days, 1))
    press = found(tmp_path, "", readings)["presses"][0]
    assert press["slips"] == ["2026-03-03T17:00:00+00:00"]
    assert press["unannounced"] == ["2026-03-06T17:00:00+00:00"]
    # No stretch reaches over the replacement, one does over the slip.
    assert [stretch[2] for stretch in press["stretches"]] == [4, 8, 4, 4, 4, 4]


def test_a_new_meter_begins_another_count(tmp_path: Path) -> None:
    press = found(
        tmp_path,
        "",
        "P1,2026-03-01T18:00:00Z,9990,\nP1,2026-03-02T18:00:00Z,9995,\n"
        "P1,2026-03-02T18:30:00Z,0,new_meter\nP1,2026-03-03T18:00:00Z,4,reading\n",
    )["presses"][0]
    assert [stretch[2] for stretch in press["stretches"]] == [5, 4]
    assert press["unannounced"] == []


def test_two_barrels_at_once_count_each_moment_of_the_press_once(tmp_path: Path) -> None:
    data = found(
        tmp_path,
        "a,P2,2026-03-01T06:00:00Z,2026-03-01T10:00:00Z,4,right\n"
        "b,P2,2026-03-01T06:00:00Z,2026-03-01T10:00:00Z,4,left\n"
        "c,P2,2026-03-02T06:00:00Z,2026-03-02T10:00:00Z,4,left right\n",
    )
    assert [(run["hours"], run["press_hours"]) for run in data["runs"]] == [(4, 2), (4, 2), (4, 4)]


def test_presses_are_told_apart_and_one_can_be_asked_for_alone(tmp_path: Path) -> None:
    runs = (
        "a,P2,2026-03-01T06:00:00Z,2026-03-01T12:00:00Z,,\nb,P1,2026-03-01T06:00:00Z,2026-03-01T12:00:00Z,,\n"
    )
    readings = "P1,2026-03-01T06:00:00Z,100,\nP1,2026-03-01T12:00:00Z,104.5,\nP3,2026-03-01T12:00:00Z,7,\n"
    data = found(tmp_path, runs, readings)
    assert [(run["ref"], run["hours"]) for run in data["runs"]] == [("a", 6), ("b", 4.5)]
    assert [press["press"] for press in data["presses"]] == ["P1", "P2", "P3"]
    alone = found(tmp_path, runs, readings, "--press", "P1")
    assert [(run["ref"], run["hours"]) for run in alone["runs"]] == [("b", 4.5)]
    assert [press["press"] for press in alone["presses"]] == ["P1"]


def test_a_night_in_which_the_clocks_change_is_as_long_as_it_was(tmp_path: Path) -> None:
    # Vienna: 2:00 became 3:00 on 29 March 2026, and 3:00 became 2:00 on 25 October.
    data = found(
        tmp_path,
        "a,P1,2026-03-28T22:00:00+01:00,2026-03-29T06:00:00+02:00,,\n"
        "b,P1,2026-10-24T22:00:00+02:00,2026-10-25T06:00:00+01:00,,\n",
    )
    assert [run["hours"] for run in data["runs"]] == [7, 9]


def test_names_that_a_spreadsheet_would_take_for_a_formula_are_read_as_they_were(tmp_path: Path) -> None:
    data = found(
        tmp_path,
        "'=a,'-P,2026-03-01T06:00:00Z,2026-03-01T12:00:00Z,,\n",
        "'-P,2026-03-01T06:00:00Z,100,\n'-P,2026-03-01T12:00:00Z,104.5,\n",
        "--press=-P",
    )
    assert [(run["ref"], run["press"], run["hours"]) for run in data["runs"]] == [("=a", "-P", 4.5)]


def test_files_without_a_row_come_to_nothing(tmp_path: Path) -> None:
    assert found(tmp_path, "", "") == {"runs": [], "presses": []}
    assert found(tmp_path, ",,,,,\n", "\n") == {"runs": [], "presses": []}


def test_the_table_says_the_same_for_people(tmp_path: Path) -> None:
    text = output_of(
        tmp_path,
        RUNS + "a,P1,2026-03-01T06:00:00Z,2026-03-01T12:00:00Z,,\n",
        READINGS + "P1,2026-03-01T06:00:00Z,100,\nP1,2026-03-01T12:00:00Z,104.5,\n",
    )
    assert "  ref: a\n  press: P1\n  hours: 4.5\n  press hours: 4.5\n  source: meter\n  told: –\n" in text
    assert "  2026-03-01T06:00:00+00:00  2026-03-01T12:00:00+00:00  4.5  4.5  0  True" in text


# --- what can't be used ------------------------------------------------------------------------------

A_RUN = "a,P1,2026-03-01T06:00:00Z,2026-03-01T12:00:00Z,,\n"


@pytest.mark.parametrize(
    ("runs", "readings", "says"),
    [
        ("ref,press,started_at,ended_at\n", READINGS, "Column hours_h, through is missing"),
        (RUNS, "press,read_at,meter_h\n", "Column kind is missing"),
        ("", READINGS, "has no header"),
        (RUNS + "a,P1\n", READINGS, "Row 1 has 2 cells where the header has 6"),
        (RUNS + ",P1,2026-03-01T06:00:00Z,,,\n", READINGS, "Row 1 of the runs, column ref is empty"),
        (RUNS + "a,,2026-03-01T06:00:00Z,,,\n", READINGS, "Row 1 of the runs, column press is empty"),
        (RUNS + A_RUN + "b,P1,,,,\n", READINGS, "Row 2 of the runs, column started_at is empty"),
        (
            RUNS + "a,P1,yesterday,,,\n",
            READINGS,
            "Row 1 of the runs, column started_at: “yesterday” can't be used: write the time as in 2026",
        ),
        (RUNS + "a,P1,2026-02-30T06:00:00Z,,,\n", READINGS, "there is no such time"),
        (RUNS + "a,P1,0026-03-01T06:00:00Z,,,\n", READINGS, "the year must lie between 1900 and 2199"),
        (RUNS + "a,P1,2026-03-01T06:00:00,,,\n", READINGS, "“2026-03-01T06:00:00” has no offset"),
        (
            RUNS + "a,P1,2026-03-01T06:00:00Z,2026-03-01T06:30:00+01:00,,\n",
            READINGS,
            "Row 1 of the runs: the run ends before it starts",
        ),
        (
            RUNS + 'a,P1,2026-03-01T06:00:00Z,,"4,5",\n',
            READINGS,
            "column hours_h: “4,5” can't be used: write a plain number with a decimal point",
        ),
        (RUNS + "a,P1,2026-03-01T06:00:00Z,,nan,\n", READINGS, "column hours_h: “nan” can't be used"),
        (RUNS + "a,P1,2026-03-01T06:00:00Z,,-1,\n", READINGS, "Write a number from 0 to"),
        (RUNS + A_RUN + A_RUN, READINGS, "a stands twice in the runs"),
        (
            RUNS
            + "a,P1,2026-03-01T06:00:00Z,,1,left\n"
            + "b,P1,2026-03-02T06:00:00Z,,1,middle\n"
            + "c,P1,2026-03-03T06:00:00Z,,1,right\n",
            READINGS,
            "press P1 name the barrels left, middle, right: it can have two",
        ),
        (RUNS, READINGS + "P1,2026-03-01T06:00:00Z,,\n", "Row 1 of the readings, column meter_h is empty"),
        (RUNS, READINGS + "P1,2026-03-01T06:00:00Z,-1,\n", "Write a number from 0 to"),
        (RUNS, READINGS + "P1,2026-03-01T06:00:00Z,1,meter\n", "write one of reading or new_meter"),
        (
            RUNS,
            READINGS + "P1,2026-03-01T06:00:00Z,1,\nP1,2026-03-01T07:00:00+01:00,1,\n",
            "P1 2026-03-01T06:00:00+00:00 stands twice in the readings",
        ),
    ],
)
def test_bad_input_is_one_clear_sentence(tmp_path: Path, runs: str, readings: str, says: str) -> None:
    assert says in refused(tmp_path, runs, readings)


def test_a_press_that_is_not_there_is_said_with_those_that_are(tmp_path: Path) -> None:
    readings = READINGS + "P2,2026-03-01T06:00:00Z,1,\n"
    assert "no press P9: they name P1, P2" in refused(tmp_path, RUNS + A_RUN, readings, "--press", "P9")
    assert "no press P9: they hold no row" in refused(tmp_path, RUNS, READINGS, "--press", "P9")


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        ((), "analyse hours needs --readings, a CSV file with the columns press, read_at, meter_h, kind"),
        (("runs.csv",), "analyse hours needs --readings"),
        (
            ("--readings", "readings.csv"),
            "needs a CSV file with the columns ref, press, started_at, ended_at, hours_h, through",
        ),
        (("absent.csv", "--readings", "absent.csv"), "can't be read: No such file"),
        (("-", "--readings", "-"), "Only one of runs and readings can come from standard input"),
    ],
)
def test_what_lacks_is_asked_for(arguments: tuple[str, ...], says: str) -> None:
    with pytest.raises(CommandError) as caught:
        call_command("analyse", "hours", *arguments)
    assert says in str(caught.value)
    assert caught.value.returncode == 2
