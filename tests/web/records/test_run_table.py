"""The table of runs: what it keeps, how it sorts and pages, and its files."""

from __future__ import annotations

import csv
import io
import re
from datetime import timedelta
from decimal import Decimal
from itertools import count

import pytest
from django.test import Client
from openpyxl import load_workbook

from tests.mills.log_shop import FITTED, MORNING, Shop
from wearlog.people.models import Mill, User
from wearlog.runs.models import Crop, Run
from wearlog.service.models import Incident, Measurement, Service
from wearlog.web.records import page as pages
from wearlog.web.site.opened import opened

NUMBERS = count(1)


@pytest.fixture
def shop(client: Client, owner: User) -> Shop:
    client.force_login(owner)
    return Shop()


def run(shop: Shop, *, hours: int, kg: int, after_h: float, **fields: object) -> Run:
    """A run so many hours after the shop's parts were fitted."""
    begun = FITTED + timedelta(hours=after_h)
    entry = Run(
        ref=f"r{next(NUMBERS)}",
        press=fields.pop("press", shop.north),
        crop=fields.pop("crop", shop.rape),
        started_at=begun,
        ended_at=begun + timedelta(hours=hours),
        seed_kg=kg,
        **fields,
    )
    entry.save()
    return entry


def rows(client: Client, query: str = "", table: str = "runs") -> list[dict[str, str]]:
    answer = client.get(f"/records/{table}/?{query}&download=csv")
    assert answer.status_code == 200
    return list(csv.DictReader(io.StringIO(b"".join(answer).decode())))  # type: ignore[call-overload]


def totals(client: Client, query: str, table: str = "runs") -> dict[str, str]:
    html = client.get(f"/records/{table}/?{query}").content.decode()
    return dict(re.findall(r'<dd id="([^"]*)">([^<]*)</dd>', html))


def test_a_run_across_a_change_of_fitting_counts_in_proportion_on_both_sides(
    client: Client, shop: Shop
) -> None:
    run(shop, hours=8, kg=160, after_h=0)
    run(shop, hours=4, kg=100, after_h=10, oil_kg=Decimal(40))
    shop.d1_on.removed_at = FITTED + timedelta(hours=11)
    shop.d1_on.save()
    shop.fit(shop.d2, "B", shop.die_place, at=FITTED + timedelta(hours=11))
    before, after = rows(client, "die=D-1&edge=A"), rows(client, "die=D-2")
    assert [(row["hours_h"], row["seed_kg"], row["share_pct"]) for row in before] == [
        ("1.0", "25.0", "25.0"),
        ("8.0", "160.0", "100.0"),
    ]
    assert [(row["hours_h"], row["seed_kg"], row["oil_kg"]) for row in after] == [("3.0", "75.0", "30.0")]
    assert totals(client, "die=D-1")["seed"] == "185 kg"
    assert rows(client, "die=D-1&edge=B") == []


def test_a_barrel_takes_its_share_of_the_seed_and_all_of_the_hours(client: Client, shop: Shop) -> None:
    shop.left.share, shop.right.share = Decimal("0.6"), Decimal("0.4")
    shop.left.save()
    shop.right.save()
    run(shop, press=shop.twin, hours=5, kg=100, after_h=0)
    run(shop, press=shop.twin, hours=5, kg=50, after_h=10, through="left")
    run(shop, press=shop.twin, hours=5, kg=70, after_h=20, through="right")
    found = rows(client, "part=D-4&sort=started")
    assert [(row["hours_h"], row["seed_kg"]) for row in found[:2]] == [("5.0", "60.0"), ("5.0", "50.0")]
    assert totals(client, "part=D-4")["seed"] == "110 kg"


def test_die_and_screw_together_keep_the_time_that_both_sat_on_the_press(client: Client, shop: Shop) -> None:
    run(shop, hours=4, kg=100, after_h=0)
    shop.s1_on.removed_at = FITTED + timedelta(hours=1)
    shop.s1_on.save()
    assert [row["seed_kg"] for row in rows(client, "die=D-1&screw=S-1")] == ["25.0"]
    assert [row["seed_kg"] for row in rows(client, "size=5")] == ["100.0"]
    assert rows(client, "size=5&screw=S-2") == []


def test_filters_of_press_crop_period_lot_and_person_keep_what_they_name(client: Client, shop: Shop) -> None:
    run(shop, hours=1, kg=10, after_h=0, lot="RA-1", done_by="Ada")
    run(shop, hours=1, kg=20, after_h=48, crop=shop.sunflower, done_by="Bruno")
    run(shop, hours=1, kg=30, after_h=96, press=shop.twin, purge=True)

    def kept(query: str) -> list[str]:
        return [row["seed_kg"] for row in rows(client, query)]

    assert kept("") == ["30.0", "20.0", "10.0"]
    assert kept("press=N") == ["20.0", "10.0"]
    assert kept("press=N&press=T&crop=sunflower") == ["20.0"]
    assert kept("lot=ra-1") == ["10.0"]
    assert kept("person=bruno") == ["20.0"]
    assert kept("first=2026-02-03&last=2026-02-03") == ["20.0"]
    assert kept("season=2025/26&counts=rate") == ["20.0", "10.0"]
    assert kept("counts=purge") == ["30.0"]


def test_a_filter_that_is_not_understood_is_told_and_left_out(client: Client, shop: Shop) -> None:
    run(shop, hours=1, kg=10, after_h=0)
    for wrong in ("press=X", "die=X-99", "first=soon", "season_start=02-31", "size=huge"):
        answer = client.get(f"/records/runs/?{wrong}")
        assert answer.status_code == 200
        assert 'role="alert"' in answer.content.decode(), wrong
        assert len(rows(client, wrong)) == 1


def test_columns_sort_and_long_tables_come_in_pages(client: Client, shop: Shop) -> None:
    for number in range(60):
        run(shop, hours=1, kg=(number * 7) % 60, after_h=2 * number)

    def seeds(query: str) -> list[str]:
        html = client.get(f"/records/runs/?{query}").content.decode()
        return re.findall(r'data-label="Seed \(kg\)">([^<]*)<', html)

    assert seeds("sort=seed_kg")[:3] == ["0.0", "1.0", "2.0"]
    assert seeds("sort=-seed_kg")[:3] == ["59.0", "58.0", "57.0"]
    assert len(seeds("")) == 50
    assert len(seeds("page=2")) == 10
    assert len(seeds("rows=all")) == 60


def test_files_run_nothing_and_keep_numbers_as_numbers(client: Client, shop: Shop) -> None:
    run(shop, hours=2, kg=1500, after_h=0, lot="=1+1", done_by="@SUM(A1)")
    [row] = rows(client)
    assert (row["lot"], row["done_by"]) == ("'=1+1", "'@SUM(A1)")
    sheet = load_workbook(io.BytesIO(client.get("/records/runs/?download=xlsx").content)).active
    assert sheet is not None
    heads = {cell.value: cell.column_letter for cell in sheet[1]}
    lot, seed = sheet[f"{heads['Lot']}2"], sheet[f"{heads['Seed (kg)']}2"]
    assert (lot.value, lot.data_type, lot.quotePrefix) == ("=1+1", "s", True)
    assert (seed.value, seed.number_format) == (1500, "#,##0.0")
    assert sheet[f"{heads['Started']}2"].number_format == "yyyy-mm-dd hh:mm"
    assert sheet.column_dimensions[heads["Started"]].width >= 17
    assert sheet.print_title_rows == "$1:$1"
    assert sheet[f"{heads['Seed (kg)']}3"].value == 1500  # the totals stand below
    assert sheet[f"{heads['Seed (kg)']}3"].font.bold


def test_files_are_in_the_units_of_the_person(client: Client, shop: Shop) -> None:
    User.objects.update(units="us")
    run(shop, hours=2, kg=Decimal("453.59237"), after_h=0)
    [row] = rows(client)
    assert (row["seed_lb"], row["hours_per_short_ton"]) == ("1000.0", "4.0")


def test_a_workbook_of_too_many_rows_is_refused_with_what_to_do(
    client: Client, shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(pages, "MOST_IN_XLSX", 1)
    run(shop, hours=1, kg=1, after_h=0)
    run(shop, hours=1, kg=1, after_h=2)
    answer = client.get("/records/runs/?download=xlsx")
    assert answer.status_code == 413
    assert "take the CSV" in answer.content.decode()
    assert client.get("/records/runs/?download=xlsx&last=2026-02-01&lot=none").status_code == 200
    assert len(rows(client)) == 2


def test_work_adds_up_hours_and_money_which_owners_alone_see(client: Client, shop: Shop) -> None:
    Mill.objects.update(currency="EUR")
    for cost, labour in (("120.50", "2"), (None, "1.5")):
        Service.objects.create(
            ref=f"s{labour}", done_at=MORNING, press=shop.north, action="clean", cost=cost, labour_h=labour
        )
    found = totals(client, "press=N", "work")
    assert (found["number"], found["labour"], found["paid"]) == ("2", "3.5 h", "120.50 EUR")
    assert [row["paid"] for row in rows(client, "known=paid", "work")] == ["120.5"]
    sheet = load_workbook(io.BytesIO(client.get("/records/work/?download=xlsx").content)).active
    assert sheet is not None
    heads = {cell.value: cell.column_letter for cell in sheet[1]}
    assert '"EUR"' in sheet[f"{heads['Paid (EUR)']}3"].number_format
    client.force_login(User.objects.create_user("viewer", role="viewer"))
    assert "paid" not in totals(client, "press=N", "work")
    assert "paid" not in rows(client, "", "work")[0]


def test_gauges_and_incidents_are_kept_by_press_part_and_season(client: Client, shop: Shop) -> None:
    for value in ("5.1", "5.2"):
        Measurement.objects.create(
            ref=value, measured_at=MORNING, part=shop.d1, edge="A", value_mm=Decimal(value)
        )
    Incident.objects.create(ref="i", happened_at=MORNING, press=shop.twin, kind="metal")
    assert totals(client, "part=D-1&edge=A&press=N", "gauges")["number"] == "2"
    assert totals(client, "press=T", "gauges")["number"] == "0"
    assert totals(client, "season=2025/26&kind=metal", "incidents")["number"] == "1"
    assert totals(client, "press=N", "incidents")["number"] == "0"


def test_an_address_can_only_name_filters_and_totals_that_there_are(client: Client, shop: Shop) -> None:
    address = opened("runs", "seed", press=["N", "T"], crop=None, part="", first=MORNING.date())
    assert address == "/records/runs/?press=N&press=T&first=2026-03-02&total=seed"
    for table, total, filters in (
        ("run", "seed", {}),
        ("runs", "sum", {}),
        ("work", "number", {"crop": "rapeseed"}),
    ):
        with pytest.raises(KeyError):
            opened(table, total, **filters)
    assert Crop.objects.count() == 2
