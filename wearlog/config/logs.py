"""What every program writes to stderr: pages, workers, the schedule, commands.

A line has its time, its weight, the name of the request that it belongs to, and where it comes from. What
people typed and what only the server may know is left out of it, since logs are read, copied and mailed.
"""

from __future__ import annotations

import logging
import re
import time
import traceback
from collections.abc import Iterator
from typing import Any, Final
from urllib.parse import quote, urlsplit

from django.conf import settings
from django.contrib.auth import SESSION_KEY
from django.http import Http404, HttpRequest
from django.urls import resolve

from wearlog.web.site.faults.request_id import current_request, id_of

LOGGING: Final[dict[str, Any]] = {
    "version": 1,
    "disable_existing_loggers": False,
    "filters": {"requests": {"()": "wearlog.config.logs.Requests"}},
    "formatters": {"plain": {"()": "wearlog.config.logs.Plain"}},
    "handlers": {
        "stderr": {
            "class": "logging.StreamHandler",
            "stream": "ext://sys.__stderr__",  # never what a worker puts in its place to catch prints
            "formatter": "plain",
            "filters": ["requests"],
        }
    },
    "root": {"handlers": ["stderr"], "level": "WARNING"},
    "loggers": {
        # Django's own handlers write only while DEBUG is on, or mail to people who are not set.
        "django": {"handlers": [], "level": "WARNING", "propagate": True},
        "django.request": {"level": "ERROR"},  # a mistyped address is nobody's fault here
        "django.security.csrf": {"level": "ERROR"},
    },
}

SECRET_ARGUMENTS: Final = ("secret", "token")
"""Parts of an address that let somebody in."""

LEFT_OUT: Final = "[left out]"
OF_A_ROW: Final = re.compile(r"^(DETAIL|CONTEXT|LINE \d+):.*", re.MULTILINE | re.DOTALL)
"""From here on a message of PostgreSQL quotes what was to be stored."""

SHORT: Final = 4


class Requests(logging.Filter):
    """Django's lines about failed requests. Of a known kind (the disk is full) there is one without a
    traceback; an answer that a page chose, such as that of `/healthz`, is no line at all."""

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
            record.args += (cleaned(error, request),)
            record.exc_info = record.exc_text = None
        return True


class Plain(logging.Formatter):
    """One line a record; the traceback of an error follows it."""

    def format(self, record: logging.LogRecord) -> str:
        request = getattr(record, "request", None)
        if not isinstance(request, HttpRequest):
            request = current_request()
        moment = time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(record.created))
        name = id_of(request) or "-"
        message = without(record.getMessage(), request).replace("\r", "\\r").replace("\n", "\\n")
        line = f"{moment} {record.levelname} [{name}] {record.name}: {message}"
        if record.exc_info and record.exc_info[1] is not None:
            line += "\n" + story(record.exc_info[1], request)
        return line


def story(error: BaseException, request: HttpRequest | None, seen: frozenset[int] = frozenset()) -> str:
    """The traceback, that of what it came from first. Lines of code are told, values are not."""
    before = error.__cause__ or (None if error.__suppress_context__ else error.__context__)
    told = ""
    if before is not None and id(before) not in seen:
        told = story(before, request, seen | {id(error)}) + "\nwhich led to\n"
    frames = "".join(traceback.format_tb(error.__traceback__))
    return f"{told}Traceback (most recent call last):\n{frames}{cleaned(error, request)}"


def cleaned(error: BaseException, request: HttpRequest | None) -> str:
    """Kind and message of an error on one line, without what somebody typed or may not know."""
    kind = type(error)
    message = OF_A_ROW.sub("", str(error)).strip()
    text = without(message, request).replace("\r", "\\r").replace("\n", "\\n")
    return f"{kind.__module__}.{kind.__qualname__}: {text}"


def without(text: str, request: HttpRequest | None) -> str:
    """The text without the server's secrets and without what the request brought."""
    for secret in secrets():
        text = text.replace(secret, LEFT_OUT)
    if request is not None:
        for value in sorted(set(typed(request)), key=len, reverse=True):
            if len(value) >= SHORT:
                text = text.replace(value, LEFT_OUT)
            else:  # a digit must not be taken out of the midst of a word
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


def typed(request: HttpRequest) -> Iterator[str]:
    """What came with the request, as far as it was read: reading is not the log's business."""
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
    """The path, without its secrets and without the query."""
    path = request.path
    for secret in secret_arguments(request):
        path = path.replace(secret, LEFT_OUT)
    return path


def person_of(request: HttpRequest) -> object:
    """The key of who is signed in, as far as that was asked already; the database may be away."""
    user = getattr(request, "_cached_user", None)
    if user is not None:
        return user.pk or "-"
    session = getattr(getattr(request, "session", None), "_session_cache", {})
    return session.get(SESSION_KEY, "-")
