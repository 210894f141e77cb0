"""Logging work: position, part and edge are known; a move that somebody else made is refused clearly."""

from __future__ import annotations

import re
from datetime import timedelta
from decimal import Decimal

from django.test import Client
from django.utils import timezone

from tests.mills.log_shop import Shop
from wearlog.equipment.models import Fitting, Part
from wearlog.lockout.models import EnergySource
from wearlog.logbook import actions
from wearlog.people.models import Role, User
from wearlog.service.models import Measurement, Rule, Service
from wearlog.web.site.forms import new_ref


def page(client: Client, address: str) -> str:
    answer = client.get(address)
    assert answer.status_code == 200, answer.status_code
    return answer.content.decode()


def work(shop: Shop, action: str, fitting: Fitting | None = None, **typed: str) -> dict[str, str]:
    known = {"ref": new_ref(), "press": str(shop.north.pk), "action": action}
    if fitting is not None:
        known |= {"fitting": str(fitting.pk), "position": str(fitting.position_id)}
    return {**known, **typed}


def test_the_press_lists_what_sits_on_it_and_what_can_be_done_in_one_touch(phone: Client, shop: Shop) -> None:
    text = page(phone, f"/log/work/?press={shop.north.pk}")
    assert "Die: D-1 A" in text
    assert f"fitting={shop.d1_on.pk}&amp;action=flip" in text
    assert f"fitting={shop.s1_on.pk}&amp;action=polish" in text
    assert f"fitting={shop.s1_on.pk}&amp;action=flip" not in text


def test_each_work_page_shows_the_caution_and_the_isolation_points(phone: Client, shop: Shop) -> None:
    EnergySource.objects.create(
        press=shop.north, source="main motor", kind="electrical", isolate_at="switch Q1"
    )
    for address in (
        f"/log/work/?press={shop.north.pk}",
        f"/log/work/?fitting={shop.d1_on.pk}&action=flip",
        f"/log/incident/?press={shop.north.pk}",
        f"/log/crop-change/?press={shop.north.pk}",
        f"/log/fitting/end/?fitting={shop.d1_on.pk}",
        f"/log/measurement/?part={shop.d1.pk}",
    ):
        text = page(phone, address)
        assert "caution-warning" in text, address
        assert "isolate at switch Q1" in text, address


def test_a_flip_turns_to_the_unused_edge(phone: Client, shop: Shop) -> None:
    text = page(phone, f"/log/work/?fitting={shop.d1_on.pk}&action=flip")
    assert "edge B, unused" in text
    answer = phone.post("/log/work/", work(shop, "flip", shop.d1_on, to_edge="B", finding="rim rounded"))
    assert answer.status_code == 302
    now = Fitting.objects.open().get(position=shop.die_place)
    assert (now.part, now.edge) == (shop.d1, "B")
    service = Service.objects.get()
    assert (service.action, service.part, service.edge, service.finding) == (
        "flip",
        shop.d1,
        "A",
        "rim rounded",
    )


def test_a_die_flipped_by_another_phone_is_refused_with_who_and_keeps_what_was_typed(
    phone: Client, shop: Shop, owner: User
) -> None:
    typed = work(shop, "flip", shop.d1_on, to_edge="B", finding="rim rounded")
    now = timezone.now()
    actions.flip(by=owner, at=now, expected_fitting_id=shop.d1_on.pk, moved_at=now, to_edge="B")
    answer = phone.post("/log/work/", typed)
    text = answer.content.decode()
    assert answer.status_code == 409
    assert "was already flipped to edge B by Olga" in text
    assert "rim rounded" in text
    assert Service.objects.count() == 0
    assert Fitting.objects.open().filter(position=shop.die_place).count() == 1


def test_the_button_touched_twice_flips_once(phone: Client, shop: Shop) -> None:
    typed = work(shop, "flip", shop.d1_on, to_edge="B")
    answers = [phone.post("/log/work/", typed).status_code for _ in range(2)]
    assert answers == [302, 302]
    assert Service.objects.count() == 1
    assert Fitting.objects.filter(position=shop.die_place).count() == 2


def test_a_link_to_a_fitting_that_has_ended_leads_to_what_sits_there_now(phone: Client, shop: Shop) -> None:
    now = timezone.now()
    actions.flip(by=None, at=now, expected_fitting_id=shop.d1_on.pk, moved_at=now, to_edge="B")
    text = page(phone, f"/log/work/?fitting={shop.d1_on.pk}&action=flip")
    assert "no longer sits where that link led" in text
    assert "Die: D-1 B" in text


def test_replace_lists_the_spares_of_the_type_first_and_retires_what_came_off(
    phone: Client, shop: Shop
) -> None:
    text = page(phone, f"/log/work/?fitting={shop.d1_on.pk}&action=replace")
    assert text.index("D-2 A") < text.index("D-3 A")
    assert "D-4" not in text  # it sits on the twin
    phone.post(
        "/log/work/",
        work(shop, "replace", shop.d1_on, new=f"{shop.d2.pk}:A", old_part_retired_because="worn"),
    )
    now = Fitting.objects.open().get(position=shop.die_place)
    assert (now.part, now.edge) == (shop.d2, "A")
    shop.d1.refresh_from_db()
    assert shop.d1.retired_because == "worn"


def test_replace_without_a_part_asks_for_it(phone: Client, shop: Shop) -> None:
    answer = phone.post("/log/work/", work(shop, "replace", shop.d1_on, finding="cracked"))
    text = answer.content.decode()
    assert answer.status_code == 422
    assert "Choose the part that goes on." in text
    assert "cracked" in text
    assert Service.objects.count() == 0


def test_a_polish_takes_gauges_before_and_after(phone: Client, shop: Shop) -> None:
    phone.post(
        "/log/work/",
        work(
            shop, "polish", shop.s1_on, before_0="59,82", after_0="59.80", place_0="flight 1", before_1="59.9"
        ),
    )
    found = {(m.phase, m.place, m.value_mm) for m in Measurement.objects.all()}
    assert found == {
        ("before", "flight 1", Decimal("59.82")),
        ("after", "flight 1", Decimal("59.80")),
        ("before", "", Decimal("59.9")),
    }


def test_a_reader_in_inches_types_0_2_inch(client: Client, shop: Shop, operator: User) -> None:
    operator.units = "us"
    operator.save()
    client.force_login(operator)
    assert "limit 0.2126 in" in page(client, f"/log/work/?fitting={shop.d1_on.pk}&action=measure")
    client.post("/log/work/", work(shop, "measure", shop.d1_on, value_0="0.2"))
    gauge = Measurement.objects.get()
    assert (gauge.part, gauge.edge, gauge.value_mm) == (shop.d1, "A", Decimal("5.08"))  # 1 in is 25.4 mm
    assert 'value="0.2"' in page(client, f"/log/measurement/{gauge.pk}/correct/")


def test_measuring_without_a_value_asks_for_it(phone: Client, shop: Shop) -> None:
    answer = phone.post("/log/work/", work(shop, "measure", shop.d1_on))
    assert "Write what you measured." in answer.content.decode()


def test_a_pin_gauge_gives_a_bound(phone: Client, shop: Shop) -> None:
    phone.post("/log/work/", work(shop, "measure", shop.d1_on, value_0="5.2", bound="below", gauge="pin"))
    gauge = Measurement.objects.get()
    assert (gauge.bound, gauge.gauge) == ("below", "pin")


def test_work_on_the_press_as_a_whole_has_no_part(phone: Client, shop: Shop) -> None:
    phone.post("/log/work/", work(shop, "clean", labour_h="1:15"))
    service = Service.objects.get()
    assert (service.part, service.position, service.labour_h) == (None, None, Decimal("1.25"))


def test_the_rule_of_a_due_item_is_kept_with_the_work(phone: Client, shop: Shop) -> None:
    rule = Rule.objects.create(code="polish screw", action="polish", kind="screw", instructions="Grit 240.")
    text = page(phone, f"/log/work/?fitting={shop.s1_on.pk}&action=polish&rule={rule.pk}")
    assert "Grit 240." in text
    phone.post("/log/work/", work(shop, "polish", shop.s1_on, rule=str(rule.pk)))
    assert Service.objects.get().rule == rule


def test_a_spare_is_fitted_on_an_empty_position(phone: Client, shop: Shop) -> None:
    text = page(phone, f"/log/fitting/?position={shop.right.pk}")
    assert "D-2 A" in text
    phone.post("/log/fitting/", {"position": shop.right.pk, "new": f"{shop.d2.pk}:B"})
    fitting = Fitting.objects.open().get(position=shop.right)
    assert (fitting.part, fitting.edge) == (shop.d2, "B")


def test_a_part_is_taken_off_to_the_shelf(phone: Client, shop: Shop) -> None:
    phone.post("/log/fitting/end/", {"fitting": shop.d1_on.pk, "retired_because": ""})
    assert not Fitting.objects.open().filter(position=shop.die_place).exists()
    shop.d1.refresh_from_db()
    assert shop.d1.retired_on is None


def test_two_dies_change_places_between_presses(phone: Client, shop: Shop) -> None:
    assert "D-4 A on Twin" in page(phone, f"/log/fitting/swap/?fitting={shop.d1_on.pk}")
    phone.post("/log/fitting/swap/", {"fitting": shop.d1_on.pk, "second": shop.d4_on.pk})
    assert Fitting.objects.open().get(position=shop.die_place).part == shop.d4
    assert Fitting.objects.open().get(position=shop.left).part == shop.d1


def test_work_in_the_future_is_refused_at_its_field(phone: Client, shop: Shop) -> None:
    ahead = (timezone.now() + timedelta(days=3)).strftime("%Y-%m-%dT%H:%M")
    answer = phone.post("/log/work/", work(shop, "flip", shop.d1_on, to_edge="B", done_at=ahead))
    text = answer.content.decode()
    assert answer.status_code == 422
    assert 'href="#id_done_at"' in text
    assert Service.objects.count() == 0


def test_a_viewer_may_not_log_work(client: Client, shop: Shop) -> None:
    client.force_login(User.objects.create_user("v", role=Role.VIEWER))
    assert client.get(f"/log/work/?press={shop.north.pk}").status_code == 403
    assert client.post("/log/work/", work(shop, "flip", shop.d1_on, to_edge="B")).status_code == 403
    assert Service.objects.count() == 0


def test_among_many_spares_one_is_named_by_the_mark_on_it(phone: Client, shop: Shop) -> None:
    Part.objects.bulk_create(Part(code=f"X5-{number:02}", part_type=shop.small) for number in range(80))
    text = page(phone, f"/log/work/?fitting={shop.d1_on.pk}&action=replace")
    assert text.count("<option") == 1 + 120
    for mark, words in (
        ("", "Choose the part that goes on, or write its mark."),
        ("Y1 A", "No part is marked “Y1 A”."),
        ("x5-79", "X5-79 has the edges A, B"),
        ("X5-79 C", "X5-79 has the edges A, B"),
    ):
        answer = phone.post("/log/work/", work(shop, "replace", shop.d1_on, new_mark=mark))
        assert answer.status_code == 422, mark
        assert words in answer.content.decode(), mark
    phone.post("/log/work/", work(shop, "replace", shop.d1_on, new_mark="x5-79 b"))
    now = Fitting.objects.open().get(position=shop.die_place)
    assert (now.part.code, now.edge) == ("X5-79", "B")


def test_a_gauge_far_off_is_asked_about_in_the_readers_inches(
    client: Client, shop: Shop, operator: User
) -> None:
    operator.units = "us"
    operator.save()
    client.force_login(operator)
    typed = work(shop, "measure", shop.d1_on, value_0="0.5")
    text = client.post("/log/work/", typed).content.decode()
    assert "0.5000 in on D-1 is far off: new it is 0.1969 in." in text
    assert client.post("/log/work/", {**typed, "confirm": "large_step"}).status_code == 302
    assert Measurement.objects.get().value_mm == Decimal("12.7")  # 1 in is 25.4 mm


def test_a_part_that_is_not_recorded_yet_is_added_on_the_way(client: Client, shop: Shop) -> None:
    client.force_login(User.objects.create_user("mara", role=Role.MAINTAINER))
    address = f"/log/work/?fitting={shop.d1_on.pk}&action=replace"
    text = page(client, address)
    back = f"/log/work/%3Ffitting%3D{shop.d1_on.pk}%26action%3Dreplace"
    assert f"/parts/new/?part_type={shop.small.pk}&amp;next={back}" in text
    new = f"/parts/new/?part_type={shop.small.pk}&next={back}"
    assert f'<option value="{shop.small.pk}" selected>' in page(client, new)
    answer = client.post(new, {"part_type": shop.small.pk, "first": "D-9", "count": "1"})
    assert answer.headers["Location"] == address
    assert "D-9 A" in page(client, address)


def test_a_link_to_a_die_on_the_shelf_leads_to_its_own_page_and_never_to_the_general_menu(
    phone: Client, shop: Shop
) -> None:
    now = timezone.now()
    actions.take_off(by=None, at=now, expected_fitting_id=shop.d1_on.pk, removed_at=now)
    answer = phone.get(f"/log/work/?fitting={shop.d1_on.pk}&action=flip", follow=True)
    assert answer.redirect_chain[-1][0] == f"/parts/{shop.d1.pk}/"
    text = answer.content.decode()
    assert "D-1 lies on the shelf." in text
    assert "Next when fitted" in text
    assert "What was done?" not in text


def test_a_link_from_the_shelf_chooses_its_part(phone: Client, shop: Shop) -> None:
    text = page(phone, f"/log/work/?fitting={shop.d1_on.pk}&action=replace&part={shop.d3.pk}")
    assert re.search(rf'name="new" value="{shop.d3.pk}:A"[^>]*checked', text)
