"""Wrong passwords slow the next try down, are counted once each, and hold up nobody else for good."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta

import pytest

from tests.at_once import at_once
from tests.dates import at
from wearlog.people import throttling
from wearlog.people.models import SignInBrake
from wearlog.people.tasks import clear_expired

NOW = at("2026-03-10 18:00")
HERE, ELSEWHERE = "192.0.2.7", "203.0.113.9"


def tried(
    moment: datetime = NOW, *, account: str = "owner", address: str = HERE, known_device: str = ""
) -> throttling.Attempt:
    return throttling.count_attempt(account=account, address=address, known_device=known_device, at=moment)


@contextmanager
def waits(seconds: int) -> Iterator[None]:
    with pytest.raises(throttling.TooSoon) as early:
        yield
    assert early.value.wait_s == seconds


def fail(times: int, moment: datetime = NOW, **who: str) -> datetime:
    """So many wrong passwords, each at the first moment at which it is looked at; the moment of the last."""
    for _ in range(times):
        while True:
            try:
                tried(moment, **who)
                break
            except throttling.TooSoon as early:
                moment += timedelta(seconds=early.wait_s)
    return moment


@pytest.mark.django_db
@pytest.mark.parametrize(("failures", "seconds"), [(5, 10), (6, 20), (7, 40), (8, 80), (9, 160), (10, 900)])
@pytest.mark.parametrize("device", ["", "phone"])
def test_each_failure_from_the_fifth_on_makes_the_next_wait_longer(
    failures: int, seconds: int, device: str
) -> None:
    last = fail(failures, known_device=device)
    with waits(seconds):
        tried(last, known_device=device)
    tried(last + timedelta(seconds=seconds), known_device=device)


@pytest.mark.django_db
def test_four_failures_make_nobody_wait() -> None:
    assert fail(4) == NOW
    tried(NOW)


@pytest.mark.django_db
def test_ten_failures_take_five_minutes_and_then_a_quarter_of_an_hour_is_the_longest_wait() -> None:
    last = fail(10)
    assert last - NOW == timedelta(seconds=10 + 20 + 40 + 80 + 160)
    with waits(1):
        tried(last + timedelta(minutes=14, seconds=59))
    assert fail(4, last + timedelta(minutes=15)) == last + timedelta(minutes=15)


@pytest.mark.django_db
def test_a_quarter_of_an_hour_without_a_failure_begins_the_count_anew() -> None:
    fail(4)
    assert fail(4, NOW + timedelta(minutes=15)) == NOW + timedelta(minutes=15)
    assert fail(1, NOW + timedelta(minutes=29)) == NOW + timedelta(minutes=29)
    with waits(10):
        tried(NOW + timedelta(minutes=29))


@pytest.mark.django_db
def test_hammering_does_not_lengthen_the_wait() -> None:
    last = fail(5)
    for second in range(10):
        with waits(10 - second):
            tried(last + timedelta(seconds=second))
    tried(last + timedelta(seconds=10))


@pytest.mark.django_db
def test_the_right_password_forgets_the_slips_before_it() -> None:
    fail(3)
    throttling.attempt_succeeded(tried(NOW))
    assert fail(4) == NOW


@pytest.mark.django_db
def test_capital_letters_do_not_open_a_second_set_of_guesses() -> None:
    for name in ("owner", "OWNER", "Owner", "oWNER", "owneR"):
        tried(account=name)
    with waits(10):
        tried(account="OwNeR")


@pytest.mark.django_db
def test_many_accounts_tried_from_one_address_are_slowed() -> None:
    for number in range(20):
        tried(account=f"somebody {number}")
    with waits(1):
        tried(account="somebody else")
    tried(account="somebody else", address=ELSEWHERE)
    last = fail(10, account="yet another")
    with waits(60):
        tried(last, account="one more")


@pytest.mark.django_db
def test_one_account_tried_from_many_addresses_is_slowed() -> None:
    for number in range(20):
        tried(address=f"198.51.100.{number}")
    with waits(1):
        tried(address="198.51.100.99")
    last = NOW
    for number in range(100, 110):
        last = fail(1, last, address=f"198.51.100.{number}")
    with waits(60):
        tried(last, address="198.51.100.200")
    tried(last, account="miller", address="198.51.100.200")


@pytest.mark.django_db
def test_an_account_of_ones_own_does_not_reset_what_is_counted_against_the_address() -> None:
    moment = NOW
    for number in range(20):
        tried(moment, account=f"somebody {number}")
        moment += timedelta(seconds=2)
        throttling.attempt_succeeded(tried(moment, account="mine"))
        moment += timedelta(seconds=2)
    tried(moment, account="the twenty-first")
    with waits(2):
        tried(moment, account="mine")


@pytest.mark.django_db
def test_an_attacker_who_never_rests_keeps_no_known_device_waiting() -> None:
    """For an hour guesses come from elsewhere and from the phone's own address, as many as are looked at; the
    phone signs in every three minutes."""
    moment = NOW
    while moment < NOW + timedelta(hours=1):
        for address in (ELSEWHERE, HERE, f"198.51.100.{moment.minute}"):
            for _ in range(10):
                try:
                    tried(moment, address=address)
                except throttling.TooSoon:
                    break
        throttling.attempt_succeeded(tried(moment, known_device="phone"))
        moment += timedelta(minutes=3)
    with pytest.raises(throttling.TooSoon):
        tried(moment - timedelta(minutes=3), address=HERE)


@pytest.mark.django_db
def test_a_wait_that_a_clock_ahead_has_written_holds_nobody_up() -> None:
    fail(5, NOW + timedelta(days=365))
    tried(NOW)


@pytest.mark.django_db
def test_nothing_typed_is_kept_and_what_is_forgotten_is_deleted() -> None:
    tried(account="my secret pass phrase")
    assert "secret" not in str(list(SignInBrake.objects.values()))
    assert SignInBrake.objects.count() == 3
    assert throttling.clear_expired_counters(at=NOW + timedelta(minutes=14)) == 0
    assert clear_expired() == 3
    assert SignInBrake.objects.count() == 0


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("device", ["", "phone"])
def test_of_thirty_tries_at_once_five_get_through(shared: None, device: str) -> None:
    results = at_once(*[lambda: tried(known_device=device)] * 30)
    through = [each for each in results if isinstance(each, throttling.Attempt)]
    refused = [each for each in results if isinstance(each, throttling.TooSoon)]
    assert (len(through), len(refused)) == (5, 25), results


@pytest.mark.django_db(transaction=True)
def test_of_thirty_accounts_tried_at_once_from_one_address_twenty_get_through(shared: None) -> None:
    names = [f"somebody {number}" for number in range(30)]
    results = at_once(*[lambda name=name: tried(account=name) for name in names])
    through = [each for each in results if isinstance(each, throttling.Attempt)]
    refused = [each for each in results if isinstance(each, throttling.TooSoon)]
    assert (len(through), len(refused)) == (20, 10), results


@pytest.mark.django_db(transaction=True)
def test_a_try_that_is_refused_by_one_count_leaves_the_others_as_they_were(shared: None) -> None:
    last = fail(10, account="owner")
    before = sorted(SignInBrake.objects.values_list("place", "failures"))
    with pytest.raises(throttling.TooSoon):
        tried(last, account="owner")
    assert sorted(SignInBrake.objects.values_list("place", "failures")) == before
