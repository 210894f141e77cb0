"""The mill, people with their roles, sessions and sign-in links, the audit trail, and the base of log
records."""

from __future__ import annotations

import zoneinfo
from collections.abc import Iterable, Iterator
from datetime import datetime
from decimal import Decimal
from typing import TYPE_CHECKING, ClassVar, Self, TypedDict, TypeVar, Unpack

from django.conf import settings
from django.contrib.auth.models import AbstractBaseUser, BaseUserManager
from django.contrib.sessions.base_session import AbstractBaseSession, BaseSessionManager
from django.db import models
from django.db.models.functions import Coalesce
from django.utils.translation import gettext_lazy as _

from wearlog.people.fields import Percent

if TYPE_CHECKING:
    from django.contrib.sessions.backends.base import SessionBase
    from django.db.models.base import ModelBase


class HowToSave(TypedDict, total=False):
    """The arguments of Django's `Model.save`."""

    force_insert: bool | tuple[ModelBase, ...]
    force_update: bool
    using: str | None
    update_fields: Iterable[str] | None


class Units(models.TextChoices):
    METRIC = "metric", _("kilograms, millimetres, °C")
    US = "us", _("pounds, inches, °F")


def languages() -> list[tuple[str, str]]:
    """The languages to choose from as (code, name), each named in itself."""
    return [(code, str(name)) for code, name in settings.LANGUAGES]


class Mill(models.Model):
    """The one mill of this installation. Its time zone decides where a day begins and ends."""

    name = models.CharField(_("Name of the mill"), max_length=120)
    time_zone = models.CharField(
        _("Time zone"),
        max_length=64,
        default="UTC",
        help_text=_("It decides when a day begins, for every date here."),
    )
    currency = models.CharField(_("Currency"), max_length=12, blank=True, help_text=_("Such as: EUR, USD."))
    units = models.CharField(
        _("Units"),
        max_length=8,
        choices=Units,
        blank=True,
        default="",
        help_text=_("For everybody who has not chosen their own."),
    )
    language = models.CharField(
        _("Language"),
        max_length=12,
        choices=languages,
        default="en",
        db_default="en",
        help_text=_("For everybody who has not chosen their own."),
    )

    late_orders_pct = Percent(
        _("Orders that may come too late"),
        above=0,
        most=50,
        help_text=_("Of a hundred orders so many may come after the part was needed. Empty: 10."),
        null=True,
        blank=True,
    )
    enough_dies_pct = Percent(
        _("Seasons with enough dies"),
        least=50,
        most=Decimal("99.9"),
        help_text=_("In so many of a hundred seasons the dies made for it shall last. Empty: 95."),
        null=True,
        blank=True,
    )

    class Meta:
        constraints = [models.CheckConstraint(condition=models.Q(pk=1), name="mill_is_one")]

    def __str__(self) -> str:
        return self.name

    def save(self, **how: Unpack[HowToSave]) -> None:
        self.pk = 1
        super().save(**how)

    @property
    def zone(self) -> zoneinfo.ZoneInfo:
        return zoneinfo.ZoneInfo(self.time_zone)

    @classmethod
    def current(cls) -> Mill:
        """The stored mill, or an unsaved one in UTC where none is stored yet."""
        return cls.objects.first() or cls(name="", time_zone="UTC", units=Units.METRIC)


class Role(models.TextChoices):
    VIEWER = "viewer", _("viewer")
    OPERATOR = "operator", _("operator")
    MAINTAINER = "maintainer", _("maintainer")
    OWNER = "owner", _("owner")


class UserManager(BaseUserManager["User"]):
    def create_user(self, username: str, password: str | None = None, **fields: object) -> User:
        user = self.model(username=username, **fields)
        user.set_password(password)
        user.save(using=self._db)
        return user


class User(AbstractBaseUser):
    """A person who may sign in. `people.roles` says what each role may do."""

    username = models.CharField(_("Name to sign in with"), max_length=60, unique=True)
    name = models.CharField(_("Name"), max_length=120, blank=True)
    email = models.EmailField(_("Mail address"), blank=True)
    role = models.CharField(_("May do"), max_length=12, choices=Role, default=Role.OPERATOR)
    units = models.CharField(_("Units"), max_length=8, choices=Units, blank=True, default="")
    language = models.CharField(
        _("Language"), max_length=12, choices=languages, blank=True, default="", db_default=""
    )
    gets_mail = models.BooleanField(_("Gets reminders by mail"), default=True)
    is_active = models.BooleanField(_("May sign in"), default=True)
    joined_at = models.DateTimeField(_("Joined"), null=True, blank=True)
    session_generation = models.PositiveIntegerField(default=0, db_default=0, editable=False)
    """Incremented when the account is deactivated, which invalidates every earlier session for good."""

    objects: ClassVar[UserManager] = UserManager()

    USERNAME_FIELD = "username"
    REQUIRED_FIELDS: ClassVar[list[str]] = []

    class Meta:
        constraints = [
            models.CheckConstraint(condition=models.Q(role__in=Role.values), name="user_role_known")
        ]

    def __str__(self) -> str:
        return self.name or self.username

    def get_session_auth_hash(self) -> str:
        return self._with_generation(super().get_session_auth_hash())

    def get_session_auth_fallback_hash(self) -> Iterator[str]:
        return map(self._with_generation, super().get_session_auth_fallback_hash())

    def _with_generation(self, hashed: str) -> str:
        return f"{hashed}.{self.session_generation}" if self.session_generation else hashed


class SessionQuerySet(models.QuerySet["Session"]):
    def not_expired(self, at: datetime) -> Self:
        return self.filter(expire_date__gt=at)

    def expired(self, at: datetime) -> Self:
        return self.filter(expire_date__lte=at)

    def last_used_first(self) -> Self:
        used = Coalesce("used_at", "signed_in_at", output_field=models.DateTimeField())
        return self.order_by(used.desc(nulls_last=True), "handle")


class Session(AbstractBaseSession):
    """A sign-in on one device (docs/decisions/signing-in.md). Its key authenticates the person; pages refer
    to it by `handle`, from which the key can't be derived."""

    user = models.ForeignKey(User, models.CASCADE, null=True, related_name="sessions")
    handle = models.CharField(max_length=32, unique=True)
    device = models.CharField(max_length=40, blank=True, default="")
    signed_in_at = models.DateTimeField(null=True)
    used_at = models.DateTimeField(null=True)
    """Updated at intervals, and by requests that may write only."""

    objects: ClassVar = BaseSessionManager.from_queryset(SessionQuerySet)()

    def __str__(self) -> str:
        return f"session of {self.user}"

    @classmethod
    def get_session_store_class(cls) -> type[SessionBase]:
        from wearlog.people.sessions import SessionStore

        return SessionStore

    def save(self, **how: Unpack[HowToSave]) -> None:
        """Keep `used_at` out of an update: Django writes the whole row when a request changes the session's
        data, and would overwrite what other requests stored there meanwhile."""
        if how.get("force_update"):
            how["update_fields"] = [
                field.attname
                for field in self._meta.concrete_fields
                if not field.primary_key and field.attname != "used_at"
            ]
        super().save(**how)


class SignInBrake(models.Model):
    """A counter of recent wrong passwords at one place, and the time before which the next try is refused.

    The place (an account from an address, an account, an address, a known device) is stored as a hash, since
    somebody may type their password in place of their name.
    """

    place = models.CharField(max_length=64, unique=True)
    failures = models.PositiveIntegerField()
    last_at = models.DateTimeField(db_index=True)
    open_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.failures} wrong passwords, last at {self.last_at}"


class SignInLink(models.Model):
    """A link that signs one person in once. Only the hash of its secret is kept."""

    user = models.ForeignKey(User, models.CASCADE, related_name="sign_in_links")
    secret_hash = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField()
    expires_at = models.DateTimeField()
    used_at = models.DateTimeField(null=True, blank=True)

    def __str__(self) -> str:
        return f"sign-in link of {self.user}"


class AuditEntry(models.Model):
    """Who changed what, when, from what to what. The database refuses to change or delete a row."""

    at = models.DateTimeField(db_index=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    by_name = models.CharField(max_length=120)
    action = models.CharField(max_length=40)
    record = models.CharField(max_length=40)
    record_id = models.BigIntegerField(null=True, blank=True)
    record_key = models.CharField(max_length=255, blank=True)
    old = models.JSONField(null=True, blank=True)
    new = models.JSONField(null=True, blank=True)
    reason = models.TextField(blank=True)

    class Meta:
        indexes = [models.Index(fields=["record", "record_id"], name="audit_of_record")]

    def __str__(self) -> str:
        return f"{self.action} {self.record} {self.record_key}"


Line = TypeVar("Line", bound="LogRecord")


class LogRecordQuerySet(models.QuerySet[Line]):
    def not_voided(self) -> Self:
        """The records that count: those that are not voided."""
        return self.filter(voided_at__isnull=True)


class LogRecord(models.Model):
    """A line of the log: entered by somebody, corrected or voided with a reason, never deleted."""

    entered_at = models.DateTimeField(_("Entered"), null=True, blank=True, editable=False)
    entered_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        models.PROTECT,
        null=True,
        blank=True,
        editable=False,
        related_name="+",
        verbose_name=_("Entered by"),
    )
    voided_at = models.DateTimeField(_("Crossed out"), null=True, blank=True, editable=False)
    voided_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        models.PROTECT,
        null=True,
        blank=True,
        editable=False,
        related_name="+",
        verbose_name=_("Crossed out by"),
    )
    void_reason = models.TextField(_("Why it was crossed out"), blank=True, editable=False)

    class Meta:
        abstract = True
