"""One task bears one name, wherever it is read, and keeps it in the log when it is done."""

from __future__ import annotations

import html
import io
import re

import pytest
from django.core.management import call_command
from django.test import Client
from django.urls import reverse
from django.utils import timezone, translation

from tests.mills.look_mill import LookMill
from wearlog.equipment.models import Part, PartType
from wearlog.forecasts.items import DueItem
from wearlog.forecasts.memory.queries import due_items
from wearlog.people.models import Mill, User
from wearlog.reminders.calendar.words import event_text
from wearlog.reminders.channels.mail.sending import compose, compose_digest, message_id
from wearlog.reminders.models import OutboxRow
from wearlog.service.models import Rule, Service
from wearlog.web.site.tags.due import card_key, work_url
from wearlog.words.records import work_words


@pytest.fixture
def shop(mill: Mill) -> LookMill:
    return LookMill(timezone.now())


@pytest.fixture
def flip(shop: LookMill) -> DueItem:
    (found,) = [item for item in due_items(as_of=timezone.localdate()) if item.action == "flip"]
    return found


@pytest.fixture
def desk(client: Client, owner: User, shop: LookMill) -> Client:
    client.force_login(owner)
    return client


def words(text: str) -> str:
    return re.sub(r"[ \n]+", " ", html.unescape(re.sub(r"<[^>]+>", " ", text)))


def page(desk: Client, address: str) -> str:
    answer = desk.get(address)
    assert answer.status_code == 200
    return words(answer.content.decode())


def row_of(item: DueItem) -> OutboxRow:
    return OutboxRow(pk=1, message_id=message_id("a" * 64), made_at=timezone.now(), stage=item.state)


def printed() -> str:
    out = io.StringIO()
    call_command("forecast", stdout=out)
    return out.getvalue()


@pytest.mark.parametrize(
    ("language", "task", "done"),
    [
        ("en", "Flip die D5-01, edge A", "Flipped die D5-01, edge A"),
        ("de", "Wenden: Düse D5-01, Kante A", "Gewendet: Düse D5-01, Kante A"),
        (
            "fr",
            "Retourner\N{NO-BREAK SPACE}: filière D5-01, arête A",
            "Retourné\N{NO-BREAK SPACE}: filière D5-01, arête A",
        ),
    ],
)
def test_a_task_has_one_name_on_every_page_and_in_every_message_and_keeps_it_when_it_is_done(
    flip: DueItem, shop: LookMill, desk: Client, owner: User, language: str, task: str, done: str
) -> None:
    owner.language = language
    owner.save()
    # A command speaks the language of whoever starts it.
    with translation.override(language):
        assert task in words(printed())
    for address in (
        reverse("web:day"),
        reverse("web:forecast"),
        reverse("web:press-open", args=[shop.north.pk]),
        f"{reverse('web:job-card')}?item={card_key(flip)}",
        work_url(flip),
    ):
        assert task in page(desk, address), address
    with translation.override(language):
        mail = compose(row=row_of(flip), item=flip, person=owner, units="metric")
        listed = compose_digest(row=row_of(flip), items=[flip], person=owner, units="metric")
        assert event_text(flip, first_seen=timezone.localdate(), held_until=None).task.startswith(task)
    assert task.replace("\N{NO-BREAK SPACE}", " ") in mail.subject
    for message in (mail, listed):
        assert task in words(str(message.body))
        assert task in words(str(message.alternatives[0][0]))
    form = desk.get(work_url(flip)).context["form"]
    sent = {name: form[name].value() or "" for name in form.fields} | {"done_at": ""}
    answer = desk.post(reverse("web:work-new"), sent, follow=True)
    assert f"{done} · North press." in words(answer.content.decode())
    work = Service.objects.get(action="flip")
    for address in (
        reverse("web:log"),
        reverse("web:record", args=["work", work.pk]),
        reverse("web:press", args=[shop.north.pk]),
        reverse("web:part", args=[shop.die.pk]),
        reverse("web:scan-job", args=[card_key(flip)]),
    ):
        assert done in page(desk, address), address


def test_a_place_that_the_words_do_not_name_stands_behind_them(flip: DueItem, shop: LookMill) -> None:
    shop.die_place.name = "head end"
    shop.die_place.save()
    assert "Flip die D5-01, edge A (head end)" in words(printed())
    work = Service.objects.create(
        ref="w", press=shop.north, position=shop.die_place, part=shop.die, edge="A", action="flip",
        done_at=timezone.now(),
    )  # fmt: skip
    assert work_words(work, "metric") == "Flipped die D5-01, edge A (head end)"


def test_card_and_mail_name_the_same_things_to_bring_in_the_units_of_the_reader(
    flip: DueItem, shop: LookMill, desk: Client, owner: User
) -> None:
    bring = (
        "your own lock and tag for each person: 2 locks; gloves, a thermometer; spanners for the head, a "
        "soft drift; pin gauges or a bore gauge; food-grade anti-seize for threads"
    )
    assert f"Bring {bring}." in page(desk, f"{reverse('web:job-card')}?item={card_key(flip)}")
    mail = compose(row=row_of(flip), item=flip, person=owner, units="us")
    # The size stands elsewhere on a card; in a mail only here.
    assert f"Bring: {bring}; for the die, 0.1969 in Open the job" in words(str(mail.body))


def test_a_new_part_is_brought_in_the_units_of_the_reader(
    shop: LookMill, desk: Client, owner: User, mill: Mill
) -> None:
    Rule.objects.create(code="new die", action="replace", kind="die", every_days=1)
    (item,) = [each for each in due_items(as_of=timezone.localdate()) if each.action == "replace"]
    mill.units = "us"
    mill.save()
    assert "the new die, 0.1969 in." in page(desk, f"{reverse('web:job-card')}?item={card_key(item)}")
    assert "the new die, 0.1969 in" in page(desk, reverse("web:press-open", args=[shop.north.pk]))


def test_a_part_whose_code_says_its_kind_is_not_told_it_twice_on_its_page(
    shop: LookMill, desk: Client
) -> None:
    belts = PartType.objects.create(code="belt-a", kind="belt")
    belt = Part.objects.create(code="N belt", part_type=belts)
    answer = desk.get(reverse("web:part", args=[belt.pk])).content.decode()
    assert "<h1>N belt</h1>" in answer
    answer = desk.get(reverse("web:part", args=[shop.die.pk])).content.decode()
    assert "<h1>Die D5-01</h1>" in answer
    off = page(desk, f"{reverse('web:fitting-end')}?fitting={shop.die_fitting.pk}")
    assert "Take off die D5-01, edge A" in off
