"""`manage.py analyse` on files. No test here has a database: the command opens none."""

from __future__ import annotations

import io
import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command

ROOT = Path(__file__).parents[2]


def output_of(*arguments: str) -> str:
    out = io.StringIO()
    call_command("analyse", *arguments, stdout=out)
    return out.getvalue()


def found(tmp_path: Path, kind: str, text: str, *options: str) -> dict[str, Any]:
    path = tmp_path / "data.csv"
    path.write_text(text, encoding="utf-8")
    data: dict[str, Any] = json.loads(output_of(kind, str(path), "--format", "json", *options))
    return data


def test_life_prints_the_fit_its_ranges_and_the_survivors(tmp_path: Path) -> None:
    # NIST/SEMATECH e-Handbook 8.4.1.3.
    failed = [54, 187, 216, 240, 244, 335, 361, 373, 375, 386]
    text = "age,failed,count\n" + "".join(f"{age},1,1\n" for age in failed) + "500,0,10\n"
    data = found(tmp_path, "life", text)
    assert data["basis"] == "mle"
    assert (data["failures"], data["units"]) == (10, 20)
    assert data["shape"] == pytest.approx(1.7208, abs=5e-5)
    assert data["scale"] == pytest.approx(606.528, abs=1e-3)
    assert data["log_likelihood"] == pytest.approx(-75.135, abs=5e-4)
    assert data["b10"] == pytest.approx(164.02243866, rel=1e-8)
    # The exact limits, computed with scipy 1.17.1 by adaptive quadrature and a bracketed root.
    assert data["shape_interval"] == pytest.approx([0.812143102705, 2.722903200281], rel=1e-5)
    assert data["fixed_shape_fits"] == []
    assert data["kaplan_meier"][0] == [54.0, 0.95, 20]


def test_life_with_one_failure_rests_on_assumed_shapes(tmp_path: Path) -> None:
    data = found(tmp_path, "life", "age,failed\n300,1\n500,0\n")
    assert data["basis"] == "fixed_shape"
    assert (data["shape"], data["scale"]) == (None, None)
    assert [fit["shape"] for fit in data["fixed_shape_fits"]] == [1.0, 2.0, 3.0, 4.0]
    assert "two distinct failure ages" in data["reason"]


def test_life_without_rows_says_that_there_is_nothing(tmp_path: Path) -> None:
    data = found(tmp_path, "life", "age,failed\n")
    assert (data["basis"], data["reason"], data["kaplan_meier"]) == ("none", "no part on record", [])


def test_recurrence_prints_the_mean_function_the_trend_and_the_power_law(tmp_path: Path) -> None:
    # MIL-HDBK-189 (1981), appendix C: 27 failures in 300 h.
    times = [2.6, 16.5, 16.5, 17.0, 21.4, 29.1, 33.3, 56.5, 63.1, 70.6, 73.0, 77.7, 93.9, 95.5, 98.1, 101.1]
    times += [132.0, 142.2, 147.7, 149.0, 167.2, 190.7, 193.0, 198.7, 251.9, 282.5, 286.1]
    text = "unit,age,event\n" + "".join(f"a,{time},1\n" for time in times) + "a,300,0\n"
    data = found(tmp_path, "recurrence", text)
    assert data["power_shape"] == pytest.approx(0.7163392624, rel=5e-6)
    assert data["power_rate"] == pytest.approx(0.4538418614, rel=5e-6)
    assert data["power_shape_interval"] == pytest.approx([0.472072087679, 1.01072880707], rel=1e-8)
    assert data["mcf"][0] == [2.6, 1.0, None]
    assert data["mcf"][1][1] == 3.0  # two at 16.5
    assert data["events"] == 27


def test_recurrence_ended_by_a_failure_needs_no_end_row(tmp_path: Path) -> None:
    data = found(
        tmp_path, "recurrence", "unit,age,event\na,10,1\na,20,1\na,40,1\n", "--terminated", "failure"
    )
    assert data["power_shape"] == pytest.approx(1.442695, abs=1e-6)  # 3 / (ln 4 + ln 2)
    assert data["laplace_z"] == pytest.approx(-0.612372, abs=1e-6)


def test_recurrence_of_units_without_events_bounds_their_rate(tmp_path: Path) -> None:
    data = found(tmp_path, "recurrence", "unit,age,event\na,60,0\nb,40,0\n")
    assert data["mcf"] == []
    assert data["event_rate_interval"] == [0.0, pytest.approx(0.02995732)]
    assert (data["power_shape"], data["laplace_z"]) == (None, None)
    assert data["reason"].startswith("no event")


def test_wear_prints_each_units_rate_and_exposure_at_the_limit(tmp_path: Path) -> None:
    # By hand: 0.001 for each unit of exposure meets 1 at 1,000.
    text = "unit,exposure,value\na,100,0.1\na,200,0.2\na,300,0.3\nb,100,0.1\n"
    data = found(tmp_path, "wear", text, "--new", "0", "--limit", "1")
    first, second = data["units"]
    assert first["unit"] == "a"
    assert first["rate"] == pytest.approx(0.001)
    assert first["exposure_at_limit"] == pytest.approx([1000, 1000, 1000])
    assert first["basis"] == "measured"
    assert second["exposure_at_limit"] is None
    assert "too few readings" in second["reason"]


def test_wear_past_its_limit_is_said_and_a_part_that_grows_back_has_no_date(tmp_path: Path) -> None:
    text = "unit,exposure,value\na,100,79\na,200,78.1\na,300,76.9\nb,100,80.2\nb,200,80.3\n"
    data = found(tmp_path, "wear", text, "--new", "80", "--limit", "77")
    first, second = data["units"]
    assert first["reason"] == "limit reached or passed"
    assert second["exposure_at_limit"] is None
    assert "does not move toward the limit" in second["reason"]


def test_drift_prints_the_chart_with_gaps_and_rows_counted_from_one(tmp_path: Path) -> None:
    # luca-scr/qcc, tests/testthat/test-ewma.R, with a gap put in.
    options = ("--target", "10", "--sd", "2", "--weight", "0.5", "--width", "2")
    data = found(tmp_path, "drift", "value\n11\n\n13\n12\n30\n", *options)
    assert data["ewma"][:4] == [10.5, None, 11.75, 11.875]
    assert data["upper"][0] == pytest.approx(12.0)
    assert data["upper"][1] is None
    assert data["alarms"] == [5]


def test_replacement_prints_the_best_age_or_why_none() -> None:
    # ReliaWiki's example; computed with scipy 1.17.1.
    options = ["--scale", "1000", "--planned-cost", "1", "--failure-cost", "5", "--format", "json"]
    data = json.loads(output_of("replacement", "--shape", "2.5", *options))
    assert data["best_age"] == pytest.approx(493.046957597, abs=1e-6)
    assert data["cost_rate"] == pytest.approx(0.00346204273879, abs=1e-12)
    assert data["run_to_failure_cost"] == pytest.approx(0.00563530248993, abs=1e-12)
    assert data["saving_against_run_to_failure"] == pytest.approx(0.385650948645, abs=1e-9)
    withheld = json.loads(output_of("replacement", "--shape", "0.9", *options))
    assert withheld["best_age"] is None
    assert "by chance" in withheld["reason"]


def test_the_table_says_the_same_for_people(tmp_path: Path) -> None:
    path = tmp_path / "data.csv"
    path.write_text("age,failed\n300,1\n420,1\n500,1\n600,0\n")
    text = output_of("life", str(path))
    assert "basis: mle" in text
    assert "kaplan meier:\n  300  0.75  4" in text


def test_other_columns_and_a_byte_order_mark_do_no_harm(tmp_path: Path) -> None:
    path = tmp_path / "data.csv"
    path.write_text("\ufeffpress,age,failed\nP1,300,1\nP2,500,0\n", encoding="utf-8")
    assert json.loads(output_of("life", str(path), "--format", "json"))["units"] == 2


@pytest.mark.parametrize(
    ("kind", "text", "options", "says"),
    [
        ("life", "age\n300\n", (), "Column failed is missing: the header names age"),
        ("life", "", (), "no header"),
        ("life", "age,failed\nx,1\n", (), "Row 1, column age: “x” is not a number"),
        ("life", "age,failed\n300,1\n0,1\n", (), "Row 2, column age: 0 can't be used, an age is above 0"),
        ("life", "age,failed\nnan,1\n", (), "is not a number"),
        ("life", "age,failed\n300,yes\n", (), "“yes” is neither 1 nor 0"),
        ("life", "age,failed,count\n300,1,-2\n", (), "a count is not negative"),
        ("life", "age,failed\n300,1,7\n", (), "Row 1 has 3 cells where the header has 2"),
        ("life", "age,age,failed\n1,2,1\n", (), "names a column twice"),
        ("recurrence", "unit,age,event\na,10,1\n", (), "Unit “a” has no end of observation"),
        ("recurrence", "unit,age,event\na,10,0\na,20,0\n", (), "second end of observation"),
        ("recurrence", "unit,age,event\na,10,0\na,20,1\n", (), "lies after the end of observation"),
        ("wear", "unit,exposure,value\na,1,2\n", ("--new", "0"), "analyse wear needs --limit"),
        ("wear", "unit,exposure,value\na,1,2\n", ("--new", "1", "--limit", "1"), "are the same"),
        ("wear", "unit,exposure,value\na,-1,2\n", ("--new", "0", "--limit", "1"), "not negative"),
        ("drift", "value\n1\n", ("--target", "1", "--sd", "0"), "must be above 0"),
        ("drift", "value\n1\n", ("--target", "one", "--sd", "1"), "--target: “one” is not a number"),
        ("drift", "value\nx\n", ("--target", "1", "--sd", "1"), "Row 1, column value"),
    ],
)
def test_bad_input_is_one_clear_sentence(
    tmp_path: Path, kind: str, text: str, options: tuple[str, ...], says: str
) -> None:
    path = tmp_path / "data.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(CommandError) as caught:
        output_of(kind, str(path), *options)
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)
    assert caught.value.returncode == 2


def test_a_file_that_is_not_there_or_not_text_is_one_clear_sentence(tmp_path: Path) -> None:
    with pytest.raises(CommandError, match="can't be read: No such file"):
        output_of("life", str(tmp_path / "absent.csv"))
    (tmp_path / "bytes.csv").write_bytes(b"age,failed\n\xff\xfe,1\n")
    with pytest.raises(CommandError, match="can't be read as CSV in UTF-8"):
        output_of("life", str(tmp_path / "bytes.csv"))
    with pytest.raises(CommandError, match="needs a CSV file with the columns age, failed"):
        output_of("life")


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["replacement", "--shape", "2"], "analyse replacement needs --scale"),
        (["replacement", "file.csv"], "takes no file"),
        (["astrology", "file.csv"], "invalid choice"),
        (["life", "--colour", "red"], "unrecognized arguments"),
    ],
)
def test_bad_options_are_one_clear_sentence(arguments: list[str], says: str) -> None:
    with pytest.raises(CommandError, match=says) as caught:
        output_of(*arguments)
    assert caught.value.returncode == 2


def test_from_a_shell_bad_input_is_one_line_and_ends_with_two(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "manage.py", "analyse", "astrology", "x.csv"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        env={"PATH": "/usr/bin:/bin", "DATA_DIR": str(tmp_path)},
        check=False,
    )
    assert done.returncode == 2
    assert len(done.stderr.strip().splitlines()) == 1
    assert not list(tmp_path.glob("*.sqlite3"))
