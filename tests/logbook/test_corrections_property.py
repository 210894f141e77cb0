"""Any order of moves, corrections and take-backs leaves a log that can be: each is taken whole or refused."""

from __future__ import annotations

from datetime import datetime, timedelta
from itertools import combinations
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase

from tests.dates import at
from tests.examples import bounded
from tests.mills.logbook_mill import a_small_mill, vienna_mill
from wearlog.equipment.models import Fitting, Part
from wearlog.logbook import actions
from wearlog.people.models import AuditEntry
from wearlog.people.refusals import Doubtful, Refused

START = at("2026-03-02 06:00")
NOW = at("2026-03-10 18:00")

STEP = st.tuples(
    st.sampled_from(
        ["flip", "replace", "take off", "fit", "swap", "undo", "void", "correct", "edge", "open"]
    ),
    st.integers(0, 7),
    st.integers(0, 7),
    st.integers(0, 192),
)


def pick(rows: list[Any], number: int) -> Any:
    return rows[number % len(rows)] if rows else None


def take(step: tuple[str, int, int, int], parts: list[Part], places: list[Any]) -> None:
    what, first, second, hour = step
    moment = START + timedelta(hours=hour)
    open_ones = list(Fitting.objects.open().order_by("pk"))
    not_voided = list(Fitting.objects.not_voided().order_by("pk"))
    one, other = pick(open_ones, first), pick(open_ones, second)
    any_one = pick(not_voided, first)
    part, place = pick(parts, first), pick(places, second)
    common: dict[str, Any] = {"by": None, "at": NOW}
    if what == "fit":
        actions.fit(
            **common,
            part_id=part.pk,
            edge=part.part_type.edge_names[0],
            position_id=place.pk,
            fitted_at=moment,
        )
    elif what == "replace":
        there = Fitting.objects.open().filter(position=place).first()
        actions.replace(
            **common,
            position_id=place.pk,
            expected_fitting_id=there.pk if there else None,
            new_part_id=part.pk,
            new_edge=part.part_type.edge_names[-1],
            moved_at=moment,
            old_part_retired_because="worn" if hour % 3 == 0 and there else "",
        )
    elif any_one is None or one is None:
        return
    elif what == "flip":
        actions.flip(**common, expected_fitting_id=one.pk, moved_at=moment)
    elif what == "take off":
        actions.take_off(**common, expected_fitting_id=one.pk, removed_at=moment)
    elif what == "swap":
        actions.swap(**common, first_fitting_id=one.pk, second_fitting_id=other.pk, moved_at=moment)
    elif what == "undo":
        actions.undo_move(**common, fitting_id=any_one.pk, reason="undo")
    elif what == "void":
        actions.void(**common, record=any_one, reason="void")
    elif what == "correct":
        name = "fitted_at" if second % 2 else "removed_at"
        actions.correct(**common, record=any_one, changes={name: moment}, reason="clock")
    elif what == "edge":
        edge = pick(["A", "B", ""], second)
        actions.correct(**common, record=any_one, changes={"edge": edge}, reason="stamp")
    elif what == "open":
        actions.correct(**common, record=any_one, changes={"removed_at": None}, reason="still on")


def share_a_moment(one: Fitting, other: Fitting) -> bool:
    far = datetime.max.replace(tzinfo=START.tzinfo)
    return max(one.fitted_at, other.fitted_at) < min(one.removed_at or far, other.removed_at or far)


class AnyOrderOfMoves(TestCase):
    @settings(max_examples=bounded(60, 40), deadline=None, suppress_health_check=[HealthCheck.too_slow])
    @given(st.lists(STEP, min_size=3, max_size=12))
    def test_no_part_is_in_two_places_and_no_place_holds_two_parts(
        self, steps: list[tuple[str, int, int, int]]
    ) -> None:
        vienna_mill()
        mill = a_small_mill(None)
        parts = list(Part.objects.select_related("part_type").order_by("pk"))
        places = [mill.die_place, mill.screw_place, mill.other_screw_place]
        for step in steps:
            before = (list(Fitting.objects.order_by("pk").values()), AuditEntry.objects.count())
            try:
                take(step, parts, places)
            except (Refused, Doubtful):
                # Refused means: nothing of it is stored.
                assert (list(Fitting.objects.order_by("pk").values()), AuditEntry.objects.count()) == before
        not_voided = list(Fitting.objects.not_voided().select_related("part__part_type", "position"))
        for one, other in combinations(not_voided, 2):
            if one.part_id == other.part_id or one.position_id == other.position_id:
                assert not share_a_moment(one, other)
        for each in not_voided:
            assert each.edge in each.part.part_type.edge_names
            assert each.part.part_type.kind == each.position.kind
            assert each.removed_at is None or each.removed_at > each.fitted_at
            assert not (each.removed_at is None and each.part.retired_on is not None)
