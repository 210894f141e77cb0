"""Presses, parts, crops, rules, energy sources, plan and prices set up from pages."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from tests.mills.log_shop import MORNING, Shop, form_of
from wearlog.equipment.models import Part, PartType, Position, Press
from wearlog.lockout.models import EnergySource
from wearlog.people.models import AuditEntry, Mill, Role, User
from wearlog.runs.models import Crop, PlanEntry, Price, Run
from wearlog.service.models import Rule
from wearlog.web.site.consecutive import codes_from
from wearlog.web.site.forms import new_ref


@pytest.fixture
def desk(client: Client, owner: User) -> Client:
    client.force_login(owner)
    return client


def page(client: Client, address: str) -> str:
    answer = client.get(address)
    assert answer.status_code == 200, answer.status_code
    return answer.content.decode()


def saved(client: Client, address: str, typed: dict[str, object]) -> None:
    answer = client.post(address, typed)
    assert answer.status_code == 302, answer.content.decode()


def test_a_press_without_a_template_has_a_name_and_no_places_yet(desk: Client, mill: Mill) -> None:
    saved(desk, "/presses/new/bare/", {"code": "P1", "name": "Old one"})
    assert Press.objects.get().name == "Old one"
    assert not Position.objects.exists()
    assert AuditEntry.objects.filter(action="add", record="press").count() == 1


def test_a_press_name_that_is_taken_is_refused_and_nothing_is_added(desk: Client, shop: Shop) -> None:
    answer = desk.post("/presses/new/bare/", {"code": "N", "note": "second hand"})
    assert answer.status_code == 422
    assert "second hand" in answer.content.decode()
    assert Press.objects.count() == 2
    assert Position.objects.filter(press__code="N").count() == 2


def test_a_press_is_retired_and_no_longer_offered(desk: Client, shop: Shop) -> None:
    saved(desk, f"/presses/{shop.twin.pk}/edit/", {"code": "T", "retired_on": "2026-01-31"})
    shop.twin.refresh_from_db()
    assert shop.twin.retired_on == date(2026, 1, 31)
    assert f"?press={shop.twin.pk}" not in page(desk, "/log/run/")


def test_a_position_name_is_taken_once_per_press(desk: Client, shop: Shop) -> None:
    again = desk.post(f"/presses/{shop.north.pk}/positions/new/", {"name": "die", "kind": "die"})
    assert again.status_code == 422
    saved(desk, f"/presses/{shop.north.pk}/positions/new/", {"name": "filter", "kind": "filter"})
    assert Position.objects.filter(press=shop.north).count() == 3


def test_a_position_that_the_log_names_is_not_removed(desk: Client, shop: Shop) -> None:
    answer = desk.post(f"/positions/{shop.die_place.pk}/", {"remove": "1"}, follow=True)
    assert "is named in the log and can" in answer.content.decode()
    assert Position.objects.filter(pk=shop.die_place.pk).exists()


def test_several_dies_are_added_at_once_with_marks_that_count_on(desk: Client, shop: Shop) -> None:
    typed = {"part_type": shop.small.pk, "first": "D5-09", "count": 3, "acquired_on": "2026-02-01"}
    saved(desk, "/parts/new/", typed)
    codes = list(Part.objects.filter(acquired_on="2026-02-01").values_list("code", flat=True))
    assert codes == ["D5-09", "D5-10", "D5-11"]


def test_a_mark_that_is_taken_adds_none_of_them(desk: Client, shop: Shop) -> None:
    before = Part.objects.count()
    answer = desk.post("/parts/new/", {"part_type": shop.small.pk, "first": "D-1", "count": 9})
    assert "Already there: D-1, D-2, D-3, D-4, D-5." in answer.content.decode()
    assert Part.objects.count() == before


@pytest.mark.parametrize(
    ("first", "count", "codes"),
    [
        ("D5-07", 3, ["D5-07", "D5-08", "D5-09"]),
        ("D5-99", 2, ["D5-99", "D5-100"]),
        ("7b", 2, ["7b", "8b"]),
        ("screw", 1, ["screw"]),
    ],
)
def test_the_last_number_of_a_mark_counts_on(first: str, count: int, codes: list[str]) -> None:
    assert codes_from(first, count) == codes


def test_a_mark_without_a_number_cannot_count_on() -> None:
    with pytest.raises(ValueError, match="screw"):
        codes_from("screw", 2)


def test_a_part_type_in_inches_comes_back_in_inches(desk: Client, shop: Shop, owner: User) -> None:
    owner.units = "us"
    owner.save()
    typed = {
        "code": "die-quarter",
        "kind": "die",
        "edges": 2,
        "size_mm": "0.25",
        "new_mm": ".25",
        "limit_mm": "0.265",
        "expected_life_kg": "20,000",
        "for_crops": ["rapeseed", "sunflower"],
    }
    saved(desk, "/part-types/new/", typed)
    kind = PartType.objects.get(code="die-quarter")
    assert kind.size_mm == Decimal("6.35")  # 1 in is 25.4 mm exactly (NIST SP 811, B.8)
    assert kind.expected_life_kg == Decimal("9071.847400")  # 20,000 lb of 0.45359237 kg
    assert kind.for_crops == "rapeseed sunflower"
    text = page(desk, f"/part-types/{kind.pk}/")
    assert 'value="0.25"' in text
    assert 'value="20000"' in text


def test_opening_and_saving_in_other_units_changes_no_digit(desk: Client, shop: Shop, owner: User) -> None:
    owner.units = "us"
    owner.save()
    PartType.objects.filter(pk=shop.small.pk).update(expected_life_kg=Decimal("8000"))
    address = f"/part-types/{shop.small.pk}/"
    form = form_of(page(desk, address))
    assert (form["limit_mm"], form["expected_life_kg"]) == ("0.2126", "17636.981")
    saved(desk, address, {**form, "for_crops": ["rapeseed"], "note": "hardened"})
    shop.small.refresh_from_db()
    assert (shop.small.note, shop.small.size_mm) == ("hardened", Decimal("5"))
    assert (shop.small.limit_mm, shop.small.expected_life_kg) == (Decimal("5.4"), Decimal("8000"))


def test_a_crop_is_one_word(desk: Client, mill: Mill) -> None:
    answer = desk.post("/crops/new/", {"code": "hemp seed"})
    assert "Write it as one word" in answer.content.decode()
    saved(desk, "/crops/new/", {"code": "hemp"})
    assert Crop.objects.get().code == "hemp"


def test_a_rule_takes_every_trigger(desk: Client, shop: Shop) -> None:
    typed = {
        "code": "look at the screw",
        "action": "inspect",
        "kind": "screw",
        "every_h": "300",
        "every_kg": "60000",
        "every_days": "365",
        "after_crop": shop.sunflower.pk,
        "at_limit": "on",
        "on_drift": "on",
        "after_incident": ["metal", "overheated"],
        "lead_days": "14",
        "instructions": "Pull it warm.",
    }
    saved(desk, "/rules/new/", typed)
    rule = Rule.objects.get()
    assert (rule.every_h, rule.every_kg, rule.every_days) == (Decimal(300), Decimal(60000), Decimal(365))
    assert (rule.after_crop, rule.at_limit, rule.on_drift) == (shop.sunflower, True, True)
    assert (rule.after_incident, rule.lead_days) == ("metal overheated", Decimal(14))
    text = page(desk, "/rules/")
    assert "after 300.0 h" in text
    assert "after the season of sunflower" in text
    assert "caution-warning" in page(desk, f"/rules/{rule.pk}/")


def test_a_rule_without_a_trigger_is_refused(desk: Client, mill: Mill) -> None:
    answer = desk.post("/rules/new/", {"code": "some day", "action": "inspect", "kind": "screw"})
    assert "Choose at least one trigger" in answer.content.decode()
    assert Rule.objects.count() == 0


def test_a_press_without_energy_sources_asks_for_them(desk: Client, shop: Shop) -> None:
    address = f"/presses/{shop.north.pk}/energy/"
    assert "None is recorded. Walk round the press" in page(desk, address)
    typed = {"source": "main motor", "kind": "electrical", "isolate_at": "switch Q1"}
    saved(desk, f"{address}new/", typed)
    text = page(desk, address)
    assert "isolated at switch Q1" in text
    assert "main motor (electrical): isolate at switch Q1" in text
    again = desk.post(f"{address}new/", typed)
    assert again.status_code == 422


def test_the_plan_is_added_changed_and_taken_back(desk: Client, shop: Shop) -> None:
    typed = {
        "press": shop.north.pk,
        "crop": shop.rape.pk,
        "start_on": "2026-08-10",
        "end_on": "2026-09-30",
        "seed_kg": "20000",
    }
    wrong = desk.post("/plan/new/", {**typed, "end_on": "2026-08-01"})
    assert "This is before the first day." in wrong.content.decode()
    saved(desk, "/plan/new/", typed)
    entry = PlanEntry.objects.get()
    assert (entry.seed_kg, entry.planned_on is None) == (Decimal(20000), False)
    saved(desk, f"/plan/{entry.pk}/", {**typed, "seed_kg": "25000"})
    entry.refresh_from_db()
    assert entry.seed_kg == Decimal(25000)
    saved(desk, f"/plan/{entry.pk}/", {"remove": "1"})
    assert PlanEntry.objects.count() == 0


def test_a_price_takes_a_comma(desk: Client, mill: Mill) -> None:
    saved(desk, "/prices/new/", {"item": "oil_kg", "from_on": "2026-01-01", "price": "2,35"})
    assert Price.objects.get().price == Decimal("2.35")
    assert "2.35 EUR" in page(desk, "/prices/")


def test_seed_of_each_crop_has_a_price_of_its_own(desk: Client, mill: Mill) -> None:
    Crop.objects.create(code="camelina")
    saved(desk, "/prices/new/", {"item": "seed_kg camelina", "from_on": "2026-01-01", "price": "0.6"})
    assert Price.objects.get().item == "seed_kg camelina"
    assert "seed of camelina, for a kilogram: 0.6 EUR" in page(desk, "/prices/")


MAINTAINERS = [
    "/presses/new/",
    "/presses/{north}/edit/",
    "/presses/{north}/positions/new/",
    "/positions/{die_place}/",
    "/presses/{north}/energy/new/",
    "/parts/new/",
    "/parts/{d1}/edit/",
    "/part-types/new/",
    "/part-types/{small}/",
    "/crops/new/",
    "/crops/{rape}/",
    "/rules/new/",
]
OWNERS = ["/plan/new/", "/prices/", "/prices/new/", "/people/", "/people/new/", "/settings/", "/exchange/"]


@pytest.mark.parametrize(
    ("role", "opens", "stays_out"),
    [
        (Role.VIEWER, [], MAINTAINERS + OWNERS),
        (Role.OPERATOR, [], MAINTAINERS + OWNERS),
        (Role.MAINTAINER, MAINTAINERS, OWNERS),
        (Role.OWNER, MAINTAINERS + OWNERS, []),
    ],
)
def test_each_role_opens_what_it_may_change(
    client: Client, shop: Shop, role: str, opens: list[str], stays_out: list[str]
) -> None:
    client.force_login(User.objects.create_user("somebody", role=role))
    keys = {name: thing.pk for name, thing in vars(shop).items()}
    for address in opens:
        assert client.get(address.format(**keys)).status_code == 200, address
    for address in stays_out:
        assert client.get(address.format(**keys)).status_code == 403, address
        assert client.post(address.format(**keys), {"code": "X", "name": "X"}).status_code == 403, address
    assert EnergySource.objects.count() == 0


def test_everybody_reads_types_crops_rules_plan_and_energy(client: Client, shop: Shop) -> None:
    client.force_login(User.objects.create_user("v", role=Role.VIEWER))
    for address in ("/part-types/", "/crops/", "/rules/", "/plan/", f"/presses/{shop.north.pk}/energy/"):
        text = page(client, address)
        assert "/new/" not in text, address


def test_an_empty_mill_leads_from_the_first_press_to_the_first_run(desk: Client, mill: Mill) -> None:
    assert "/presses/new/" in page(desk, "/log/run/")
    saved(desk, "/presses/new/", {"build": "hole-cylinder", "code": "P1"})
    assert "/crops/new/?next=/log/run/" in page(desk, "/log/run/")
    answer = desk.post("/crops/new/?next=/log/run/", {"code": "hemp"})
    assert answer.headers["Location"] == "/log/run/"
    press, crop = Press.objects.get(), Crop.objects.get()
    typed = {"ref": new_ref(), "press": press.pk, "crop": crop.pk, "seed": "80", "seed_unit": "kg"}
    saved(desk, "/log/run/", {**typed, "hours_h": "4"})
    assert Run.objects.get().seed_kg == Decimal(80)


def test_a_part_that_was_added_by_mistake_is_removed_and_one_that_worked_is_not(
    desk: Client, shop: Shop
) -> None:
    desk.post(f"/parts/{shop.d2.pk}/edit/", {"remove": "1"})
    assert not Part.objects.filter(code="D-2").exists()
    answer = desk.post(f"/parts/{shop.d1.pk}/edit/", {"remove": "1"}, follow=True)
    assert "is named in the log and can" in answer.content.decode()
    assert Part.objects.filter(code="D-1").exists()


def test_a_crop_that_part_types_name_is_not_renamed_under_them(desk: Client, shop: Shop) -> None:
    answer = desk.post(f"/crops/{shop.rape.pk}/", {"code": "canola"})
    assert "Part types name this crop: die-5." in answer.content.decode()
    shop.rape.refresh_from_db()
    assert shop.rape.code == "rapeseed"


def test_what_happened_to_a_part_type_is_told_on_its_page(desk: Client, mill: Mill) -> None:
    saved(desk, "/part-types/new/", {"code": "d", "kind": "die", "edges": 2, "limit_mm": "5.4"})
    kind = PartType.objects.get()
    form = form_of(page(desk, f"/part-types/{kind.pk}/"))
    saved(desk, f"/part-types/{kind.pk}/", {**form, "limit_mm": "5,3"})
    assert "<del>5.4</del> → 5.3" in page(desk, f"/part-types/{kind.pk}/")


def test_opening_a_page_writes_nothing(desk: Client, shop: Shop) -> None:
    run = shop.run(shop.north, shop.rape, MORNING, "7.5", "350")
    keys = {name: thing.pk for name, thing in vars(shop).items()}
    others = [
        "/log/",
        "/log/after/",
        "/log/run/",
        f"/log/run/{run.pk}/",
        f"/log/run/{run.pk}/correct/",
        f"/log/run/{run.pk}/void/",
        "/log/work/?press={north}",
        "/log/work/?fitting={d1_on}&action=flip",
        "/log/fitting/?position={right}",
        "/log/fitting/end/?fitting={d1_on}",
        "/log/fitting/swap/?fitting={d1_on}",
        "/log/incident/?press={north}",
        "/log/crop-change/?press={north}",
        "/log/note/",
        "/log/reading/?press={north}",
        "/log/measurement/?part={d2}",
        "/part-types/",
        "/crops/",
        "/rules/",
        "/plan/",
        "/presses/{north}/energy/",
        "/me/",
        "/exchange/logbook.zip",
    ]
    for address in [*MAINTAINERS, *OWNERS, *others]:
        with CaptureQueriesContext(connection) as queries:
            answer = desk.get(address.format(**keys))
        assert answer.status_code in (200, 302), address
        written = [q["sql"] for q in queries if not q["sql"].lstrip("( ").upper().startswith(READS)]
        assert written == [], address


# PostgreSQL reads long lists through a cursor that is declared.
READS = ("SELECT", "SAVEPOINT", "RELEASE SAVEPOINT", "BEGIN", "SET TRANSACTION", "DECLARE")


def test_a_name_that_is_taken_is_said_in_words_of_our_own(desk: Client, shop: Shop) -> None:
    Rule.objects.create(code="grease", action="lubricate", every_days=30)
    answer = desk.post("/rules/new/", {"code": "grease", "action": "lubricate", "every_days": "30"})
    text = answer.content.decode()
    assert answer.status_code == 422
    assert "This is taken. Choose another, or change the one that has it." in text
    assert "already exists" not in text


def test_a_number_may_have_its_unit_behind_it(desk: Client, shop: Shop) -> None:
    desk.post(
        "/rules/new/", {"code": "grease", "action": "lubricate", "every_h": "150h", "lead_days": "7 days"}
    )
    rule = Rule.objects.get(code="grease")
    assert (rule.every_h, rule.lead_days) == (150, 7)


def test_a_price_and_a_plan_are_called_as_people_call_them(desk: Client, mill: Mill) -> None:
    price = Price.objects.create(item="cake_kg", from_on=date(2026, 3, 29), price=Decimal("0.46"))
    page = desk.get(f"/prices/{price.pk}/").content.decode()
    assert "cake, for a kilogram, from 29 March 2026 on" in page
    assert "cake_kg from" not in page
    press, crop = Press.objects.create(code="N", name="North"), Crop.objects.create(code="linseed")
    entry = PlanEntry.objects.create(
        press=press, crop=crop, start_on=date(2026, 11, 28), end_on=date(2027, 2, 15), seed_kg=9000
    )
    assert "North linseed from 28 November 2026" in desk.get(f"/plan/{entry.pk}/").content.decode()
