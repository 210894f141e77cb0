"""A job can't be drawn in a list without the frame of its press and a caution that covers it."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date

import pytest
from django.template import Context, Template
from django.test import RequestFactory

from wearlog.forecasts.items import DueItem
from wearlog.lockout.cautions.caution import NOT_YET, Caution
from wearlog.lockout.cautions.queries import Cautions, TaskKind
from wearlog.lockout.cautions.wordings import AS_SHIPPED
from wearlog.lockout.models import EnergySource
from wearlog.web.look import samples
from wearlog.web.site.frames import Frame, JobOutsideFrame, framed

KNOWN = Cautions(
    sources={1: [EnergySource(press_id=1, source="main motor", kind="electrical", isolate_at="Q1")]},
    wordings=AS_SHIPPED,
)


def job(**changed: object) -> DueItem:
    """A die of press 1 to be flipped."""
    sample = samples.items(date(2026, 3, 4))[0]
    return replace(sample, **changed)  # type: ignore[arg-type]


def drawn(source: str, **context: object) -> str:
    request = RequestFactory().get("/")
    return Template("{% load frames %}" + source).render(Context({"request": request, **context}))


def test_a_line_without_a_frame_is_an_error() -> None:
    with pytest.raises(JobOutsideFrame):
        drawn("{% job_line job %}", job=job())


def test_a_line_in_the_frame_of_other_jobs_is_an_error() -> None:
    (frame,) = framed([job()], KNOWN)
    with pytest.raises(JobOutsideFrame):
        drawn("{% job_line job %}", job=job(), frame=frame)


def test_a_frame_needs_a_caution_with_text() -> None:
    with pytest.raises(TypeError):
        Frame(1, "North press", NOT_YET, (job(),))


def test_something_else_than_a_frame_is_not_drawn() -> None:
    with pytest.raises(JobOutsideFrame):
        drawn("{% press_frame jobs %}", jobs=[job()])


def test_the_caution_of_a_frame_names_the_hazards_of_each_of_its_jobs() -> None:
    jobs = [job(), job(action="lubricate", kind="bearing"), job(action="adjust", kind="belt", part="B")]
    (frame,) = framed(jobs, KNOWN)
    for each in jobs:
        own = KNOWN.of(1, action=each.action, kind=each.kind)
        assert set(own.in_short) <= set(frame.caution.in_short)
        for sentence in re.split(r"(?<=[.!?]) ", own.text):
            assert sentence in frame.caution.text
    assert len(frame.caution.in_short) == len(set(frame.caution.in_short))
    assert frame.points == 1


def test_the_caution_of_one_job_is_the_same_framed_or_alone() -> None:
    assert KNOWN.of_all(1, [TaskKind("flip", "die")]) == KNOWN.of(1, action="flip", kind="die")


def test_presses_come_in_the_order_of_their_first_job() -> None:
    jobs = [job(press_id=2, press_name="South"), job(), job(press_id=2, press_name="South", part="X")]
    frames = framed(jobs, KNOWN)
    assert [(frame.press_id, len(frame.jobs)) for frame in frames] == [(2, 2), (1, 1)]
    assert isinstance(frames[0].caution, Caution)
