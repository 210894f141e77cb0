"""Settings of every process: pages, workers, beat, commands and tests."""

import os
from pathlib import Path

from csp.constants import NONE, SELF

from wearlog.config import environment, logs
from wearlog.forecasts import schedule as forecasts
from wearlog.logbook import schedule as logbook
from wearlog.logbook.backups import folder, retention
from wearlog.people import schedule as people
from wearlog.reminders.channels.webhook import reachable
from wearlog.reminders.schedule import tasks_due as reminders

ROOT = Path(__file__).resolve().parents[2]
surroundings = environment.read(os.environ, ROOT)  # lower case: it is not a setting of Django's
if environment.finish_restore(surroundings):
    surroundings = environment.read(os.environ, ROOT)  # the key may have come with the backup

DEBUG = surroundings.debug
SECRET_KEY = surroundings.secret_key
ALLOWED_HOSTS = surroundings.allowed_hosts
DATA_DIR = surroundings.data_dir
DEFAULT_EXCEPTION_REPORTER = "wearlog.config.error_reports.Report"
DEFAULT_EXCEPTION_REPORTER_FILTER = "wearlog.config.error_reports.Filter"
LOGGING = logs.LOGGING
TRUSTED_PROXIES = surroundings.trusted_proxies

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "django.contrib.humanize",
    "csp",
    "django_tables2",
    "wearlog.people",
    "wearlog.equipment",
    "wearlog.runs",
    "wearlog.service",
    "wearlog.history",
    "wearlog.lockout",
    "wearlog.forecasts",
    "wearlog.words",
    "wearlog.logbook",
    "wearlog.compare",
    "wearlog.reminders",
    "wearlog.api",
    "wearlog.web",
    "wearlog.config",
]

MIDDLEWARE = [
    "wearlog.config.stack.RoomMiddleware",  # around all that is called for a request
    "wearlog.web.site.faults.request_id.RequestIdMiddleware",
    "wearlog.web.site.callers.TrustedProxies",  # first: the client's address and scheme
    "django.middleware.security.SecurityMiddleware",
    "wearlog.web.site.compression.TextCompression",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "wearlog.web.site.faults.nul.NoNulMiddleware",  # before the first query
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "wearlog.web.site.ended.EndedMiddleware",
    "wearlog.web.site.middleware.MillMiddleware",  # outside MessageMiddleware: it writes its messages
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
]

ROOT_URLCONF = "wearlog.config.urls"
WSGI_APPLICATION = "wearlog.config.wsgi.application"

web = Path(__file__).resolve().parents[1] / "web"  # each area in it has its own templates
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": sorted(web.glob("*/templates")),
        "APP_DIRS": True,
        "OPTIONS": {
            "builtins": ["wearlog.web.site.tags.dates"],
            "libraries": {
                path.stem: f"wearlog.web.site.tags.{path.stem}" for path in web.glob("site/tags/[!_]*.py")
            }
            | {"drawing": "wearlog.web.drawing.tags"},
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
            ],
        },
    }
]

DATABASES: dict[str, dict[str, object]] = {"default": surroundings.database}
if DATABASES["default"]["ENGINE"] == "django.db.backends.sqlite3":
    DATABASES["default"]["ENGINE"] = "wearlog.config.private_sqlite"
    DATABASES["default"]["TEST"] = {"NAME": ":memory:"}  # Django's default; pytest-django reads it
    # Readers never wait for a writer, a writer waits for another instead of failing, and what was
    # acknowledged survives a power cut (docs/decisions/sqlite.md has the measurements).
    DATABASES["default"]["OPTIONS"] = {
        "transaction_mode": "IMMEDIATE",
        "timeout": 20,
        "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL;",
    }
else:
    # Without a timeout, every request would hang while the server does not answer.
    options = DATABASES["default"].setdefault("OPTIONS", {})
    assert isinstance(options, dict)
    options.setdefault("connect_timeout", 5)
    # A connection is kept for the next request, and asked whether it still works (docs/server.md). SQLite's
    # is not: it costs nothing, and a restore puts another file in its place.
    DATABASES["default"].setdefault("CONN_MAX_AGE", 600)
    DATABASES["default"].setdefault("CONN_HEALTH_CHECKS", True)
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTH_USER_MODEL = "people.User"
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 10}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
]
# In a cookie, as the session backend would write its row when a GET shows a message.
MESSAGE_STORAGE = "django.contrib.messages.storage.cookie.CookieStorage"
LOGIN_URL = "web:sign-in"
LOGIN_REDIRECT_URL = "web:day"
SESSION_ENGINE = "wearlog.people.sessions"  # rows with their person (docs/decisions/signing-in.md)
SESSION_COOKIE_AGE = 60 * 60 * 24 * 90  # a press-side phone stays signed in for a season

LANGUAGE_CODE = "en"
LANGUAGES = [("en", "English"), ("de", "Deutsch"), ("fr", "Français")]  # each by its own name
LOCALE_PATHS = [ROOT / "wearlog" / "locale"]
USE_I18N = True
USE_TZ = True
TIME_ZONE = "UTC"  # the mill's zone is stored in the database and activated for each request

STATIC_URL = "static/"
STATIC_ROOT = DATA_DIR / "static"
WHITENOISE_USE_FINDERS = True
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "wearlog.config.static.HashedNames"},
}

EMAIL_TIMEOUT = 20
DEFAULT_FROM_EMAIL = os.environ.get("MAIL_FROM", "wearlog@localhost")
vars().update(surroundings.email)
SITE_URL = surroundings.site_url
REMINDER_CHANNELS = [
    "wearlog.reminders.channels.mail.sending.MailChannel",
    "wearlog.reminders.channels.webhook.sending.WebhookChannel",
]
# The web hook can't be pointed at other hosts than these from the pages (docs/channels.md).
WEBHOOK_HOSTS = reachable.read_hosts(os.environ.get("WEBHOOK_HOSTS", ""))
WEBHOOK_NETWORKS = reachable.read_networks(os.environ.get("WEBHOOK_NETWORKS", ""))

BACKUP_DIR = folder.read_folder(os.environ.get("BACKUP_DIR", ""), DATA_DIR)
BACKUP_KEEP = retention.read_retention_rule(os.environ.get("BACKUP_KEEP", ""))

CELERY_BROKER_URL = surroundings.redis_url or "memory://"
CELERY_TASK_ALWAYS_EAGER = not surroundings.redis_url
CELERY_TASK_IGNORE_RESULT = True
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
# A message that a worker has prefetched can crash it when Redis goes away (docs/decisions/outbox.md), so it
# takes only messages that it can begin at once.
CELERY_WORKER_DISABLE_PREFETCH = True
CELERY_TIMEZONE = "UTC"
CELERY_WORKER_HIJACK_ROOT_LOGGER = False  # every program logs as LOGGING says
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_BEAT_SCHEDULER = "wearlog.config.beat:OneBeat"
CELERY_BEAT_SCHEDULE = (
    people.BEAT_SCHEDULE | forecasts.BEAT_SCHEDULE | logbook.BEAT_SCHEDULE | reminders.BEAT_SCHEDULE
)

CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [NONE],
        "script-src": [SELF],
        "style-src": [SELF],
        "img-src": [SELF, "data:"],
        "font-src": [SELF],
        "connect-src": [SELF],
        "manifest-src": [SELF],
        "worker-src": [SELF],
        "form-action": [SELF],
        "frame-ancestors": [NONE],
        "base-uri": [NONE],
    }
}
X_FRAME_OPTIONS = "DENY"
SECURE_REFERRER_POLICY = "same-origin"
SECURE_REDIRECT_EXEMPT = [r"^healthz$"]  # monitoring on the machine itself uses plain http
SECURE_SSL_REDIRECT = SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = surroundings.https
SECURE_HSTS_SECONDS = 60 * 60 * 24 * 365 if surroundings.https else 0
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
# HSTS for sub-domains and preload lists would decide for other hosts of the mill's domain.
SILENCED_SYSTEM_CHECKS = ["security.W005", "security.W021"]
