"""Stretches that share a moment, against the plain question asked of every pair."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from hypothesis import given
from hypothesis import strategies as st

from wearlog.logbook.exchange.overlaps import FOR_EVER, Stretch, overlapping

START = datetime(2026, 1, 1, tzinfo=UTC)


def hour(number: int) -> datetime:
    return START + timedelta(hours=number)


def stretch(place: str, start: int, end: int | None, row: int | None) -> Stretch:
    return Stretch(place, hour(start), FOR_EVER if end is None else hour(end), row, f"run {row}")


def test_what_ends_as_the_next_begins_does_not_overlap() -> None:
    assert list(overlapping([stretch("a", 0, 2, 0), stretch("a", 2, 4, 1)])) == []


def test_the_later_one_is_named_with_the_earlier() -> None:
    first, second = stretch("a", 0, 3, 0), stretch("a", 2, 4, 1)

    assert list(overlapping([second, first])) == [(1, first)]


def test_one_that_is_stored_is_never_the_one_to_blame() -> None:
    mine, stored = stretch("a", 0, 3, 0), stretch("a", 2, 4, None)

    assert list(overlapping([mine, stored])) == [(0, stored)]


def test_other_places_do_not_matter() -> None:
    assert list(overlapping([stretch("a", 0, 9, 0), stretch("b", 1, 2, 1)])) == []


def test_one_that_goes_on_for_ever_meets_all_that_come_later() -> None:
    ever = stretch("a", 0, None, 0)

    assert list(overlapping([ever, stretch("a", 5, 6, 1), stretch("a", 8, 9, 2)])) == [(1, ever), (2, ever)]


hours = st.integers(0, 12)
stretches = st.lists(
    st.tuples(st.sampled_from("ab"), hours, st.none() | hours).filter(lambda s: s[2] is None or s[1] <= s[2]),
    max_size=8,
).map(lambda told: [stretch(*each, row) for row, each in enumerate(told)])


@given(stretches)
def test_something_is_named_just_where_a_pair_shares_a_moment(found: list[Stretch]) -> None:
    pairs = [
        (one, other)
        for place, one in enumerate(found)
        for other in found[place + 1 :]
        if one.place == other.place
        and one.start < one.end
        and other.start < other.end
        and max(one.start, other.start) < min(one.end, other.end)
    ]
    named = dict(overlapping(found))

    assert bool(named) == bool(pairs)
    for row, other in named.items():
        assert (found[row], other) in pairs or (other, found[row]) in pairs
    # Every pair has one of its two named, so that none is left when the named rows are put right.
    assert all(one.row in named or other.row in named for one, other in pairs)
