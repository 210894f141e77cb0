"""Roles, accounts, sign-in links, the audit trail's snapshots."""

from __future__ import annotations

import io
from datetime import timedelta
from decimal import Decimal

import pytest
from django.conf import global_settings
from django.contrib.auth.hashers import PBKDF2PasswordHasher
from django.core.management import CommandError, call_command

from tests.dates import at
from tests.mills.logbook_mill import somebody
from wearlog.config import settings as shipped
from wearlog.equipment.models import PartType
from wearlog.logbook import actions
from wearlog.people import audit, signin
from wearlog.people.models import AuditEntry, Role, SignInLink, User
from wearlog.people.refusals import NotAllowed, Refused
from wearlog.people.roles import Permission, allows, require
from wearlog.people.words import day_of, when

NOW = at("2026-03-10 18:00")


@pytest.mark.parametrize(
    ("role", "may"),
    [
        (Role.VIEWER, {"view"}),
        (Role.OPERATOR, {"view", "log"}),
        (Role.MAINTAINER, {"view", "log", "maintain"}),
        (Role.OWNER, {"view", "log", "maintain", "own"}),
    ],
)
def test_each_role_may_exactly_this(role: Role, may: set[str]) -> None:
    user = User(username="x", role=role)
    assert {each.value for each in Permission if allows(user, each)} == may


def test_every_role_is_named_in_the_table() -> None:
    assert {role.value for role in Role} == {"viewer", "operator", "maintainer", "owner"}
    for role in Role:
        assert allows(User(username="x", role=role), "view")


def test_somebody_switched_off_may_nothing_and_the_command_line_all() -> None:
    gone = User(username="x", role=Role.OWNER, is_active=False)
    assert not any(allows(gone, each) for each in Permission)
    with pytest.raises(NotAllowed, match="may no longer sign in"):
        require(gone, Permission.VIEW)
    assert all(allows(None, each) for each in Permission)


def test_an_unknown_role_may_nothing() -> None:
    assert not any(allows(User(username="x", role="boss"), each) for each in Permission)


# --- sign-in links ----------------------------------------------------------------------------------


def test_a_link_signs_in_once(owner: User) -> None:
    secret = signin.make_link(user=owner, at=NOW)
    assert len(secret) >= 43  # 32 random bytes in base64
    assert signin.spend(secret=secret, at=NOW + timedelta(hours=23, minutes=59)) == owner
    with pytest.raises(Refused, match="used already"):
        signin.spend(secret=secret, at=NOW + timedelta(hours=23, minutes=59))


def test_a_link_ends_after_a_day(owner: User) -> None:
    secret = signin.make_link(user=owner, at=NOW)
    with pytest.raises(Refused, match="too old"):
        signin.spend(secret=secret, at=NOW + timedelta(hours=24))


def test_only_the_hash_of_the_secret_is_kept_anywhere(owner: User) -> None:
    secret = signin.make_link(user=owner, at=NOW)
    link = SignInLink.objects.get()
    assert link.secret_hash != secret
    kept = " ".join(str(each) for each in AuditEntry.objects.values_list("new", "record_key"))
    assert secret not in kept
    assert link.secret_hash not in kept


def test_an_unknown_link_and_a_switched_off_person_are_refused(owner: User, operator: User) -> None:
    with pytest.raises(Refused, match="not known"):
        signin.spend(secret="guess", at=NOW)
    secret = signin.make_link(user=operator, at=NOW)
    operator.is_active = False
    actions.save_person(by=owner, at=NOW, user=operator)
    with pytest.raises(Refused, match="switched off"):
        signin.spend(secret=secret, at=NOW)
    with pytest.raises(Refused, match="switch the account on"):
        signin.make_link(user=operator, at=NOW)


def test_a_link_made_before_an_account_was_switched_off_stays_dead(owner: User, operator: User) -> None:
    secret = signin.make_link(user=operator, at=NOW)
    for active in (False, True):
        operator.is_active = active
        actions.save_person(by=owner, at=NOW, user=operator)
    with pytest.raises(Refused, match="too old"):
        signin.spend(secret=secret, at=NOW + timedelta(minutes=1))


# --- accounts ---------------------------------------------------------------------------------------


def test_an_owner_adds_people_with_a_password_that_is_kept_hashed(owner: User) -> None:
    user = actions.save_person(
        by=owner, at=NOW, user=User(username="rosa", role=Role.MAINTAINER), password="a long barn door"
    )
    assert user.check_password("a long barn door")
    row = AuditEntry.objects.get(record="user", action="add")
    assert row.new is not None
    assert row.new["role"] == "maintainer"
    assert not any("password" in key for key in row.new)


def test_the_site_hashes_passwords_by_a_slow_function() -> None:
    """OWASP asks for 600,000 rounds of PBKDF2 with SHA-256. The tests' own hash is a quick one."""
    first = getattr(shipped, "PASSWORD_HASHERS", global_settings.PASSWORD_HASHERS)[0]
    assert first == "django.contrib.auth.hashers.PBKDF2PasswordHasher"
    assert PBKDF2PasswordHasher.iterations >= 600_000


def test_a_new_person_without_a_password_signs_in_by_link_only(owner: User) -> None:
    user = actions.save_person(by=owner, at=NOW, user=User(username="rosa"))
    assert not user.has_usable_password()
    assert user.joined_at == NOW


@pytest.mark.parametrize("password", ["short", "password123", "1234567890"])
def test_weak_passwords_are_refused(owner: User, password: str) -> None:
    with pytest.raises(Refused) as caught:
        actions.save_person(by=owner, at=NOW, user=User(username="rosa"), password=password)
    assert caught.value.field == "password"


def test_names_to_sign_in_with_differ_in_more_than_case(owner: User) -> None:
    with pytest.raises(Refused, match="Choose another name"):
        actions.save_person(by=owner, at=NOW, user=User(username="Owner"))


def test_people_change_their_own_name_and_password_and_nothing_else(owner: User, operator: User) -> None:
    operator.name, operator.units = "Oskar the miller", "us"
    actions.save_person(by=operator, at=NOW, user=operator, password="a long barn door")
    operator.refresh_from_db()
    assert operator.check_password("a long barn door")
    operator.role = Role.OWNER
    with pytest.raises(NotAllowed, match="Ask the owner for the rest"):
        actions.save_person(by=operator, at=NOW, user=operator)
    with pytest.raises(NotAllowed):
        actions.save_person(by=operator, at=NOW, user=owner)
    with pytest.raises(NotAllowed):
        actions.save_person(by=operator, at=NOW, user=User(username="friend"))


def test_a_person_who_claims_a_role_in_memory_does_not_get_it(owner: User, operator: User) -> None:
    claimed = User.objects.get(pk=operator.pk)
    claimed.role = Role.OWNER
    with pytest.raises(NotAllowed):
        actions.save_person(by=claimed, at=NOW, user=claimed)
    operator.refresh_from_db()
    assert operator.role == Role.OPERATOR


def test_the_last_owner_stays(owner: User) -> None:
    owner.role = Role.OPERATOR
    with pytest.raises(Refused, match="last owner"):
        actions.save_person(by=None, at=NOW, user=owner)
    somebody(Role.OWNER, "second")
    actions.save_person(by=None, at=NOW, user=owner)
    assert User.objects.get(pk=owner.pk).role == Role.OPERATOR


# --- the command ------------------------------------------------------------------------------------


def test_add_person_prints_a_link_that_works_once(db: None) -> None:
    out = io.StringIO()
    call_command(
        "add_person", "Rosa", role="owner", email="rosa@mill.example", host="mill.example", stdout=out
    )
    said, link = out.getvalue().splitlines()
    assert said == "Added Rosa, owner. The link works once, within 24 hours:"
    assert link.startswith("http://mill.example/sign-in/")
    made = SignInLink.objects.get().made_at
    user = signin.spend(secret=link.rstrip("/").rsplit("/", 1)[1], at=made)
    assert (user.username, user.role, user.email) == ("Rosa", "owner", "rosa@mill.example")


def test_add_person_again_keeps_the_role_and_refuses_in_one_line(owner: User) -> None:
    out = io.StringIO()
    call_command("add_person", "OWNER", stdout=out)
    assert out.getvalue().startswith("Found Olga, owner.")
    with pytest.raises(CommandError, match="last owner"):
        call_command("add_person", "owner", role="viewer", stdout=out)
    assert User.objects.count() == 1


def test_the_way_in_is_printed_for_the_first_owner_and_changes_nobody(owner: User, operator: User) -> None:
    second = somebody(Role.OWNER, "second")
    before = list(User.objects.order_by("pk").values())
    for words, who, begin in (
        ([], owner, "http://127.0.0.1:8000/sign-in/"),
        (["SECOND", "--host", "press-log.lan:8001"], second, "http://press-log.lan:8001/sign-in/"),
        (["operator", "--host", "https://press-log.lan/"], operator, "https://press-log.lan/sign-in/"),
    ):
        out = io.StringIO()
        call_command("sign_in_link", *words, stdout=out)
        said, link = out.getvalue().splitlines()
        assert said == f"Sign in as {who} (once, within 24 hours):"
        assert link.strip().startswith(begin)
        made = SignInLink.objects.latest("pk").made_at
        assert signin.spend(secret=link.rstrip("/").rsplit("/", 1)[1], at=made) == who
    assert list(User.objects.order_by("pk").values()) == before


def test_who_can_not_sign_in_gets_no_link_and_one_sentence(owner: User, operator: User) -> None:
    User.objects.filter(pk=operator.pk).update(is_active=False)
    with pytest.raises(CommandError, match="switch the account on first"):
        call_command("sign_in_link", "operator")
    with pytest.raises(CommandError, match="Nobody signs in as 'nobody'"):
        call_command("sign_in_link", "nobody")
    User.objects.filter(pk=owner.pk).update(is_active=False)
    with pytest.raises(CommandError, match="add_person NAME --role owner"):
        call_command("sign_in_link")
    assert SignInLink.objects.count() == 0


# --- words and snapshots ----------------------------------------------------------------------------


def test_days_and_moments_are_the_mills(owner: User) -> None:
    # Vienna is at UTC+1 in winter and UTC+2 in summer.
    assert when(at("2026-03-01 23:30")) == "2 March 2026, 00:30"
    assert day_of(at("2026-07-01 22:30")).isoformat() == "2026-07-02"


def test_a_snapshot_holds_plain_values(db: None) -> None:
    kind = PartType.objects.create(code="D5", kind="die", new_mm=Decimal("5.500000"))
    taken = audit.snapshot(kind)
    assert (taken["new_mm"], taken["code"], taken["limit_mm"]) == ("5.5", "D5", None)


@pytest.mark.parametrize(
    ("value", "text"), [("1.500000", "1.5"), ("1E+3", "1000"), ("-0.0", "0"), ("0", "0"), ("100", "100")]
)
def test_numbers_are_written_plainly(value: str, text: str) -> None:
    assert audit.plain_number(Decimal(value)) == text
