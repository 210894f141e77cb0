"""How a card lies on its sheets, held against real sheets: what is reckoned to fit does fit."""

from __future__ import annotations

import io
from collections.abc import Sequence
from datetime import UTC, date, datetime

import pypdfium2
from django.contrib.auth.models import AnonymousUser
from django.template.loader import render_to_string
from django.test import RequestFactory
from hypothesis import given, settings
from hypothesis import strategies as st

from wearlog.equipment.models import Press
from wearlog.forecasts.items import DueItem, WearFigure
from wearlog.lockout.cautions.queries import caution_for
from wearlog.lockout.cautions.steps import APPLY, RELEASE, for_a_test
from wearlog.lockout.models import EnergySource
from wearlog.people.models import Mill
from wearlog.web.printing.cards import Card, card_of
from wearlog.web.printing.pdf import pdf_of
from wearlog.web.printing.views.cards import SIGNERS, restart_steps

WORDS = st.sampled_from(
    ["main", "motor", "disconnect", "Q1", "beside", "the", "of", "heater", "in", "NORTH", "pressing", "room",
     "second", "cabinet", "thermostat", "wait", "50", "°C", "seed", "bin,", "behind", "left",
     "Schneckenpressenantrieb", "مطحنة", "הבד", "WWWW-MM-77"]
)  # fmt: skip


def texts(most: int) -> st.SearchStrategy[str]:
    """Words up to so many characters in all, as a form would take them."""
    return st.lists(WORDS, max_size=most // 4).map(lambda words: " ".join(words)[:most].strip())


SOURCES = st.builds(
    EnergySource,
    source=texts(120).filter(bool),
    kind=st.sampled_from(["electrical", "thermal", "pressure", "gravity", "rotation"]),
    isolate_at=texts(120),
    release_by=texts(120),
    verify_by=texts(80),
)
WEAR = WearFigure(
    new_mm=5.0, limit_mm=5.4, measured_mm=5.39, measured_on=date(2026, 3, 1), now_mm=5.395, now_low_mm=5.39,
    now_high_mm=5.402,
)  # fmt: skip


def card(
    paper: str, sources: Sequence[EnergySource], *, press: str, part: str, how: str, kind: str, why: str
) -> Card:
    caution = caution_for(action="replace", kind=kind, sources=sources)
    item = DueItem(
        rule="r", action="replace", press="P", position=part[:60], part=part, edge="A", state="overdue",
        trigger="limit", due_on=date(2026, 3, 14), early_on=date(2026, 3, 12), late_on=date(2026, 8, 17),
        left_kg=2700.0, left_h=180.0, left_days=10.0, basis="measured", why=why, caution=caution, rule_id=7,
        press_id=2, position_id=5, part_id=31, fitting_id=90, kind=kind, press_name=press, instructions=how,
        size_mm=5.0, lead_days=7.0, cycle="90", wear=WEAR,
    )  # fmt: skip
    return card_of(
        item,
        Press(pk=2, code="P2", name=press, serial="77-3"),
        ["D5-07", "D5-08"],
        site="https://mill.example",
        paper=paper,
        system="metric",
        today=date(2026, 3, 4),
        apply=[str(step.clause) for step in APPLY],
        release=[*(str(step.clause) for step in RELEASE), *restart_steps()],
    )


def printed(cards: list[Card], paper: str) -> pypdfium2.PdfDocument:
    request = RequestFactory().get("/due/card/")
    request.user = AnonymousUser()
    request.units = "metric"  # type: ignore[attr-defined]
    request.mill = Mill(name="Hillside mill")  # type: ignore[attr-defined]
    context = {
        "today": date(2026, 3, 4),
        "printed_at": datetime(2026, 3, 4, 9, 30, tzinfo=UTC),
        "cards": cards,
        "apply": [str(step.clause) for step in APPLY],
        "release": [*(str(step.clause) for step in RELEASE), *restart_steps()],
        "test": for_a_test(),
        "signers": range(SIGNERS),
        "paper": paper,
        "page_css": f"web/page-{paper}.css",
        "pdf_url": "/",
        "other_paper_url": "/",
    }
    return pypdfium2.PdfDocument(
        io.BytesIO(
            pdf_of(render_to_string("web/printing/card.html", context, request), site="https://mill.example")
        )
    )


@settings(max_examples=25)
@given(
    paper=st.sampled_from(["a4", "letter"]),
    sources=st.lists(SOURCES, max_size=24),
    press=texts(120).filter(bool),
    part=texts(60).filter(bool),
    how=texts(700),
    kind=st.sampled_from(["die", "screw", "motor", "filter", "belt"]),
    why=texts(260),
)
def test_a_card_takes_exactly_the_sheets_that_were_reckoned(
    pdf: object, paper: str, sources: list[EnergySource], press: str, part: str, how: str, kind: str, why: str
) -> None:
    made = card(paper, sources, press=press, part=part, how=how, kind=kind, why=why)
    document = printed([made], paper)
    assert len(document) == len(made.sheets)
    numbers = [point.number for sheet in made.sheets for point in sheet.points]
    assert numbers == list(range(1, len(sources) + 1))
    for number, page in enumerate(document, start=1):
        words = page.get_textpage().get_text_range()
        assert "WARNING" in words
        if len(document) > 1:
            assert f"sheet {number} of {len(document)}" in words
