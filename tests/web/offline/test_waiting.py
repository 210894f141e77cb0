"""Entries that a phone kept and sends again: each is stored once, whatever comes twice, late or changed."""

from __future__ import annotations

from typing import Any

from django.test import Client

from tests.mills.log_shop import Shop
from tests.web.log.sheets import hidden
from wearlog.equipment.models import Fitting
from wearlog.people.models import Role, User
from wearlog.runs.models import Reading, Run, ShiftNote
from wearlog.service.models import Service
from wearlog.web.models import QueuedEntry


def send(client: Client, path: str, name: str, who: str = "", **fields: str) -> tuple[int, dict[str, Any]]:
    headers = {"X-Wearlog-Queue": name, **({"X-Wearlog-Who": who} if who else {})}
    answer = client.post(path, fields, headers=headers)
    assert answer["Content-Type"].startswith("application/json"), answer.content[:300]
    return answer.status_code, answer.json()


def run_of(shop: Shop, **fields: str) -> dict[str, str]:
    known = {
        "ref": "p-1",
        "press": str(shop.north.pk),
        "crop": str(shop.rape.pk),
        "seed_unit": "kg",
        "seed": "400",
        "hours_h": "8",
        "ended_at": "2026-03-02T15:00:00+01:00",
    }
    return known | fields


def test_a_kept_run_is_stored_with_the_time_at_which_it_was_typed(phone: Client, shop: Shop) -> None:
    status, answer = send(phone, "/log/run/", "p-1", **run_of(shop))
    assert (status, answer["state"]) == (200, "saved")
    assert answer["texts"][0].startswith("Saved: 400 kg of rapeseed on North press")
    ended = Run.objects.get().ended_at
    assert ended is not None
    assert ended.isoformat() == "2026-03-02T14:00:00+00:00"


def test_a_resend_changes_nothing_and_gets_the_same_answer(phone: Client, shop: Shop) -> None:
    first = send(phone, "/log/run/", "p-1", **run_of(shop))
    assert send(phone, "/log/run/", "p-1", **run_of(shop)) == first
    # Even where the page had no name of its own for the entry.
    note = {"text": "belt squeals", "by_name": "Ines"}
    assert send(phone, "/log/note/", "q-2", **note) == send(phone, "/log/note/", "q-2", **note)
    reading = {"press": str(shop.north.pk), "meter_h": "100", "read_at": "2026-03-02T15:00:00+01:00"}
    assert send(phone, "/log/reading/", "q-3", **reading) == send(phone, "/log/reading/", "q-3", **reading)
    assert (Run.objects.count(), ShiftNote.objects.count(), Reading.objects.count()) == (1, 1, 1)


def test_a_page_posted_under_the_name_of_a_kept_entry_is_stored_once_whoever_comes_first(
    phone: Client, shop: Shop
) -> None:
    """The script posts a form as a page does where it was refused or asked; its answer may be lost."""
    reading = {"press": str(shop.north.pk), "meter_h": "100"}
    first = phone.post("/log/reading/", reading | {"queue_name": "q-3"})
    assert first.status_code == 302
    assert send(phone, "/log/reading/", "q-3", **reading)[1]["state"] == "saved"
    again = phone.post("/log/reading/", reading | {"queue_name": "q-3"})
    assert (again.status_code, again["Location"]) == (302, first["Location"])
    assert Reading.objects.count() == 1


def test_a_page_posted_under_a_name_and_refused_says_so_and_leaves_the_name_free(
    phone: Client, shop: Shop
) -> None:
    reading = {"press": str(shop.north.pk), "meter_h": "1oo", "queue_name": "q-3"}
    answer = phone.post("/log/reading/", reading)
    assert answer.status_code == 422
    page = answer.content.decode()
    assert 'data-took="q-3"' in page
    assert hidden(page)["queue_name"] == "q-3"  # pressed again, with script or without, it is the same entry
    assert not QueuedEntry.objects.exists()
    assert phone.post("/log/reading/", reading | {"meter_h": "100"}).status_code == 302


def test_what_is_refused_says_why_and_leaves_nothing_behind(phone: Client, shop: Shop) -> None:
    status, answer = send(phone, "/log/run/", "p-1", **run_of(shop, seed="4oo"))
    assert (status, answer["state"]) == (422, "refused")
    assert [name for name, _ in answer["problems"]] == ["seed"]
    assert not Run.objects.exists()
    assert not QueuedEntry.objects.exists()
    assert send(phone, "/log/run/", "p-1", **run_of(shop))[1]["state"] == "saved"


def test_a_question_comes_back_and_is_answered_by_its_code(phone: Client, shop: Shop) -> None:
    future = run_of(shop, ended_at="2100-03-02T15:00:00+01:00")
    status, answer = send(phone, "/log/run/", "p-1", **future)
    assert (status, answer["state"]) == (200, "asked")
    codes = [doubt["code"] for doubt in answer["doubts"]]
    assert codes
    assert all(doubt["question"] for doubt in answer["doubts"])
    assert not Run.objects.exists()
    answered = phone.post(
        "/log/run/", {**future, "confirm": codes}, headers={"X-Wearlog-Queue": "p-1"}
    ).json()
    assert answered["state"] == "saved"


def test_a_die_that_somebody_else_flipped_first_is_told_as_such(
    phone: Client, shop: Shop, owner: User
) -> None:
    page = phone.get(f"/log/work/?fitting={shop.d1_on.pk}&action=flip").content.decode()
    flip = hidden(page) | {"done_at": "2026-03-02T15:00:00+01:00"}
    assert send(phone, "/log/work/", "p-1", **(flip | {"ref": "p-1"}))[1]["state"] == "saved"
    status, answer = send(phone, "/log/work/", "p-2", **(flip | {"ref": "p-2"}))
    assert (status, answer["state"]) == (409, "moved")
    assert answer["problems"][0][1]
    assert Service.objects.filter(action="flip").count() == 1
    assert Fitting.objects.filter(part=shop.d1).count() == 2


def test_without_a_sign_in_the_phone_is_told_and_keeps_the_entry(client: Client, shop: Shop) -> None:
    assert send(client, "/log/run/", "p-1", **run_of(shop)) == (401, {"state": "signed_out"})
    answer = client.get("/log/waiting/token/", headers={"X-Wearlog-Queue": "token"})
    assert (answer.status_code, answer.json()) == (401, {"state": "signed_out"})


def test_what_one_person_typed_is_not_logged_as_another(
    phone: Client, shop: Shop, operator: User, owner: User
) -> None:
    status, answer = send(phone, "/log/run/", "p-1", who=str(owner.pk), **run_of(shop))
    assert (status, answer["state"]) == (409, "other_person")
    assert not Run.objects.exists()
    assert send(phone, "/log/run/", "p-1", who=str(operator.pk), **run_of(shop))[1]["state"] == "saved"


def test_nobody_reads_the_answer_to_somebody_elses_entry(phone: Client, shop: Shop, owner: User) -> None:
    send(phone, "/log/run/", "p-1", **run_of(shop))
    other = Client()
    other.force_login(owner)
    assert send(other, "/log/run/", "p-1", **run_of(shop))[1] == {
        "state": "other_person",
        "name": str(owner),
    }


def test_a_role_that_may_not_log_is_refused_in_words(client: Client, shop: Shop) -> None:
    client.force_login(User.objects.create_user("viewer", role=Role.VIEWER))
    status, answer = send(client, "/log/run/", "p-1", **run_of(shop))
    assert (status, answer["state"]) == (403, "refused")
    assert "reads only" in answer["problems"][0][1]


def test_the_token_page_names_the_person_and_is_not_kept(phone: Client, operator: User) -> None:
    answer = phone.get("/log/waiting/token/")
    assert answer.json()["who"] == operator.pk
    assert "no-cache" in answer["Cache-Control"]


def test_a_page_without_the_header_answers_as_ever(phone: Client, shop: Shop) -> None:
    answer = phone.post("/log/run/", run_of(shop))
    assert answer.status_code == 302
    assert not QueuedEntry.objects.exists()
