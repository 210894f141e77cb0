"""Logging to stderr for every program: web server, workers, schedule, commands.

Each line has the time, level, request id and logger. What people typed and what is secret is removed, since
logs are read, copied and mailed.
"""

from __future__ import annotations

import logging
import re
import time
import traceback
from collections.abc import Iterator
from typing import Final
from urllib.parse import quote, urlsplit

from django.conf import settings
from django.contrib.auth import SESSION_KEY
from django.http import Http404, HttpRequest
from django.urls import resolve

from wearlog.web.site.faults.request_id import current_request, id_of

LOGGING: Final[dict[str, object]] = {
    "version": 1,
    "disable_existing_loggers": False,
    "filters": {"requests": {"()": "wearlog.config.logs.Requests"}},
    "formatters": {"plain": {"()": "wearlog.config.logs.Plain"}},
    "handlers": {
        "stderr": {
            "class": "logging.StreamHandler",
            "stream": "ext://sys.__stderr__",  # never a worker's replacement, which captures prints
            "formatter": "plain",
            "filters": ["requests"],
        }
    },
    "root": {"handlers": ["stderr"], "level": "WARNING"},
    "loggers": {
        # Django's own handlers only write while DEBUG is on, or mail to ADMINS, who are not set.
        "django": {"handlers": [], "level": "WARNING", "propagate": True},
        "django.request": {"level": "ERROR"},  # a mistyped address (404) is no error of the site
        "django.security.csrf": {"level": "ERROR"},
    },
}

SECRET_ARGUMENTS: Final = ("secret", "token")
"""Names of the URL arguments that grant access."""

LEFT_OUT: Final = "[left out]"
OF_A_ROW: Final = re.compile(r"^(DETAIL|CONTEXT|LINE \d+):.*", re.MULTILINE | re.DOTALL)
"""From this line on, an error message of PostgreSQL quotes the row's values."""

SHORT: Final = 4


class Requests(logging.Filter):
    """Filters Django's records of failed requests. For a known kind of error (a full disk) the traceback is
    dropped; a 5xx response that a view returned on purpose, as `/healthz` does, is not logged at all."""

    def filter(self, record: logging.LogRecord) -> bool:
        request = getattr(record, "request", None)
        if not isinstance(request, HttpRequest) or not record.name.startswith("django."):
            return True
        error = record.exc_info[1] if record.exc_info else None
        if error is None and record.name == "django.request":
            return False
        status = getattr(record, "status_code", 500)
        record.msg, record.args = (
            "%s %s answered %s, person %s",
            (
                request.method,
                address_of(request),
                status,
                person_of(request),
            ),
        )
        if status != 500 and error is not None:
            record.msg += ": %s"
            record.args += (redacted_error(error, request),)
            record.exc_info = record.exc_text = None
        return True


class Plain(logging.Formatter):
    """One line per record, followed by the traceback of an error."""

    def format(self, record: logging.LogRecord) -> str:
        request = getattr(record, "request", None)
        if not isinstance(request, HttpRequest):
            request = current_request()
        moment = time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(record.created))
        name = id_of(request) or "-"
        message = redacted(record.getMessage(), request).replace("\r", "\\r").replace("\n", "\\n")
        line = f"{moment} {record.levelname} [{name}] {record.name}: {message}"
        if record.exc_info and record.exc_info[1] is not None:
            line += "\n" + traceback_of(record.exc_info[1], request)
        return line


def traceback_of(
    error: BaseException, request: HttpRequest | None, seen: frozenset[int] = frozenset()
) -> str:
    """The traceback as text, that of the cause first. It shows lines of code and no values."""
    before = error.__cause__ or (None if error.__suppress_context__ else error.__context__)
    told = ""
    if before is not None and id(before) not in seen:
        told = traceback_of(before, request, seen | {id(error)}) + "\nwhich led to\n"
    frames = "".join(traceback.format_tb(error.__traceback__))
    return f"{told}Traceback (most recent call last):\n{frames}{redacted_error(error, request)}"


def redacted_error(error: BaseException, request: HttpRequest | None) -> str:
    """Type and message of an error on one line, without secrets and without what the request contained."""
    kind = type(error)
    message = OF_A_ROW.sub("", str(error)).strip()
    text = redacted(message, request).replace("\r", "\\r").replace("\n", "\\n")
    return f"{kind.__module__}.{kind.__qualname__}: {text}"


def redacted(text: str, request: HttpRequest | None) -> str:
    """The text without the server's secrets and without what the request contained."""
    for secret in secrets():
        text = text.replace(secret, LEFT_OUT)
    if request is not None:
        for value in sorted(set(typed_values(request)), key=len, reverse=True):
            if len(value) >= SHORT:
                text = text.replace(value, LEFT_OUT)
            else:  # whole words only, as a typed digit could be part of any number
                text = re.sub(rf"(?<!\w){re.escape(value)}(?!\w)", LEFT_OUT.replace("\\", ""), text)
    return text


def secrets() -> Iterator[str]:
    given = (
        settings.SECRET_KEY,
        settings.DATABASES["default"].get("PASSWORD"),
        getattr(settings, "EMAIL_HOST_PASSWORD", ""),
        urlsplit(str(settings.CELERY_BROKER_URL)).password,
    )
    for secret in given:
        if secret and len(str(secret)) >= SHORT:
            yield str(secret)
            yield quote(str(secret), safe="")


def typed_values(request: HttpRequest) -> Iterator[str]:
    """The values that the request contained, as far as they have been parsed; logging must not trigger
    parsing."""
    values = [value for _name, each in request.GET.lists() for value in each]
    values += request.COOKIES.values()
    values += [request.headers.get("Authorization", ""), request.META.get("QUERY_STRING", "")]
    if hasattr(request, "_post"):
        values += [value for _name, each in request.POST.lists() for value in each if isinstance(value, str)]
    values += secret_arguments(request)
    for value in values:
        for form in {value, value.strip(), value.lower(), repr(value)[1:-1], *value.splitlines()}:
            if form.strip():
                yield form


def secret_arguments(request: HttpRequest) -> list[str]:
    match = request.resolver_match
    if match is None:
        try:
            match = resolve(request.path_info)
        except Http404:
            return []
    return [str(match.kwargs[name]) for name in SECRET_ARGUMENTS if match.kwargs.get(name)]


def address_of(request: HttpRequest) -> str:
    """The request's path without secrets and query."""
    path = request.path
    for secret in secret_arguments(request):
        path = path.replace(secret, LEFT_OUT)
    return path


def person_of(request: HttpRequest) -> object:
    """The primary key of the signed-in person, if already loaded; no query is made, as the database may be
    down."""
    user = getattr(request, "_cached_user", None)
    if user is not None:
        return user.pk or "-"
    session = getattr(getattr(request, "session", None), "_session_cache", {})
    return session.get(SESSION_KEY, "-")
