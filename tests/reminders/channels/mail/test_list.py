"""The list: every task with its caution, and what they share said once."""

from __future__ import annotations

import dataclasses
from collections import Counter
from datetime import date

import pytest
from django.core.mail import EmailMultiAlternatives
from django.test import Client
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from tests.architecture.outputs import Output, squeezed
from tests.mills.everything_due import fill
from tests.reminders.channels.mail.digests import THREE, mail_of, task
from tests.reminders.channels.mail.mails import ITEM, html_of
from wearlog.forecasts.memory.queries import due_items
from wearlog.lockout.cautions.caution import Caution
from wearlog.lockout.cautions.steps import before_work
from wearlog.lockout.cautions.text import paragraphs_of
from wearlog.people.models import Mill, User
from wearlog.reminders.channels.mail.sending import compose_digest, message_id
from wearlog.reminders.models import Mark, OutboxRow, Stage
from wearlog.reminders.outbox.calls import Line


def outputs_of(mail: EmailMultiAlternatives) -> list[Output]:
    return [Output.of_text("text", str(mail.body)), Output.of_html("HTML", html_of(mail))]


def test_the_subject_counts_tasks_by_stage_and_names_the_presses() -> None:
    assert mail_of(THREE).subject == "3 tasks: 1 overdue, 2 due (Press A, Press B)"


def test_tasks_stand_by_press_and_the_most_pressing_first() -> None:
    for output in outputs_of(mail_of(THREE)):
        places = [output.words.index(squeezed(item.why)) for item in (THREE[1], THREE[0], THREE[2])]
        assert places == sorted(places)


def test_each_task_has_its_signal_word_and_hazards_beside_it() -> None:
    for output in outputs_of(mail_of(THREE)):
        for item in THREE:
            after = output.words[output.words.index(squeezed(item.why)) :]
            hazards = squeezed(paragraphs_of(item.caution)[0])
            assert 0 < after.index(hazards) < 900, "with the task, not with the next one"
            assert "WARNING" in after[: after.index(hazards)]


def test_the_steps_that_all_share_stand_once_and_each_presss_points_once() -> None:
    for output in outputs_of(mail_of(THREE)):
        assert output.words.count(squeezed(before_work())) == 1
        for point in ("Motor 0 (electrical): isolate at A-Q0", "Motor 1 (electrical): isolate at B-Q1"):
            assert output.words.count(point) == 1


def test_a_press_without_points_says_so_and_the_other_press_does_not() -> None:
    for output in outputs_of(mail_of([task("A", points=0), task("B")])):
        assert output.words.count("No isolation points are recorded for this press") == 1
        assert output.words.index("Press A") < output.words.index("No isolation points")
        assert output.words.index("No isolation points") < output.words.index("B-Q0")


def test_tasks_of_one_press_with_different_points_each_show_their_own() -> None:
    other = dataclasses.replace(
        task("A", action="clean"), caution=Caution("WARNING", "Hot.", ("Heater: F7",))
    )
    for output in outputs_of(mail_of([task("A"), other])):
        assert output.words.count("isolate at A-Q0") == 1
        assert output.words.count("Heater: F7") == 1


pieces = st.sampled_from(
    ["Hot.", "Sharp.", "It can start by itself.", before_work(), "The maker's manual comes first."]
)
cautions = st.builds(
    lambda texts, points: Caution("WARNING", " ".join(texts), tuple(points)),
    st.lists(pieces, min_size=1, max_size=5, unique=True),
    st.lists(st.sampled_from(["Motor: Q1", "Heater: F7", "Belt: guard"]), max_size=3, unique=True),
)


@given(said=st.lists(st.tuples(st.sampled_from("ABC"), cautions), min_size=1, max_size=8))
def test_whatever_cautions_a_list_holds_every_paragraph_and_point_is_there(
    said: list[tuple[str, Caution]],
) -> None:
    """Above the task at its press or at the top, or with the task itself."""
    items = [
        dataclasses.replace(task(press), caution=caution, why=f"Reason number {number}.")
        for number, (press, caution) in enumerate(said)
    ]
    for output in outputs_of(mail_of(items)):
        wanted: Counter[str] = Counter()
        for item in items:
            wanted[squeezed(paragraphs_of(item.caution)[0])] += 1
            for words in (*paragraphs_of(item.caution), *item.caution.isolation_points):
                assert squeezed(words) in output.words
        for hazards, times in wanted.items():
            assert output.words.count(hazards) >= times


def test_a_task_without_its_caution_makes_no_list() -> None:
    with pytest.raises(TypeError, match="with its Caution"):
        mail_of([dataclasses.replace(ITEM, caution="mind it")])  # type: ignore[arg-type]


def test_marks_days_to_order_and_what_is_new_are_told() -> None:
    first, second = task("A", state="coming"), task("B")
    held = Mark(kind="held", until_on=date(2026, 9, 9), reason="seed comes late")
    given_to = Mark(kind="given", given_to=User(name="Mara"))
    lines = [
        Line(item=first, stage=Stage.ORDER, order_on=date(2026, 8, 27), new=True),
        Line(item=second, stage=Stage.DUE, new=False, held=held, given=given_to, seen=True),
    ]
    for output in outputs_of(mail_of([first, second], lines)):
        for words in (
            "Order the part: Replace",
            "Order a new die by 27 August 2026, to have it in time.",
            "Not before 9 September 2026: seed comes late",
            "Given to Mara.",
            "You have marked it as seen.",
        ):
            assert words in output.words
        assert output.words.count("New on this list.") == 1


def test_lines_of_other_items_are_a_mistake() -> None:
    with pytest.raises(ValueError, match="those of its items"):
        mail_of([task("A")], [Line(item=task("B"), stage=Stage.DUE)])


def test_the_foot_leads_to_what_comes_and_when_and_to_the_stop() -> None:
    mail = mail_of(THREE)
    assert "What comes to you, and when:" in str(mail.body)
    assert mail.extra_headers["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    assert mail.extra_headers["List-Unsubscribe"].strip("<>") in str(mail.body)


def test_the_list_of_a_mill_where_everything_is_due_shows_every_caution(transactional_db: None) -> None:
    """The mill of the walk over all outputs: each caution's paragraphs and points, in text and HTML, and
    every link opens its job."""
    fill(timezone.now())
    today = timezone.localdate(timezone=Mill.current().zone)
    items = [item for item in due_items(as_of=today) if item.state in ("coming", "due", "overdue")]
    assert len(items) > 40
    row = OutboxRow(pk=1, message_id=message_id("c" * 64), made_at=timezone.now(), stage=Stage.DIGEST)
    person = User.objects.order_by("pk")[0]
    mail = compose_digest(row=row, items=items, person=person, units="us")
    text, html = outputs_of(mail)
    for output in (text, html):
        for item in items:
            assert squeezed(item.why) in output.words
            for words in (
                item.caution.signal_word,
                *paragraphs_of(item.caution),
                *item.caution.isolation_points,
            ):
                assert squeezed(words) in output.words, item
    jobs = [link for link in html.links if "/mail/job/" in link]
    assert len(jobs) == len(items)
    client = Client()
    page = client.get("/mail/job/" + jobs[0].partition("/mail/job/")[2])
    assert page.status_code == 200
