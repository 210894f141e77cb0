"""What an installation shows of itself: `python -m tests.config.everything_shown` prints every error page,
every line of `doctor`, every setting and every report of Celery, and logs to stderr as a server does.

The server is the one that also hands the whole environment to each request. Its requests come by a socket.
"""

from __future__ import annotations

import http.client
import io
import sqlite3
import threading
from contextlib import suppress
from pathlib import Path
from urllib.parse import urlencode
from wsgiref.simple_server import make_server

TYPED = "qzjx typed by a person qzjx"


def ask(port: int, method: str, path: str, *, host: str = "127.0.0.1", **sent: str) -> tuple[int, str]:
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
    form = {"Content-Type": "application/x-www-form-urlencoded"} if sent else {}
    connection.request(method, path, body=urlencode(sent) if sent else None, headers={"Host": host, **form})
    answer = connection.getresponse()
    return answer.status, answer.read().decode()


def show_pages(port: int) -> None:
    asked = [
        ("GET", "/sign-in/", "192.168.1.50"),
        ("GET", "/nowhere/", "127.0.0.1"),
        ("GET", "/healthz", "localhost"),
    ]
    shown = [ask(port, method, path, host=host) for method, path, host in asked]
    shown.append(ask(port, "POST", "/sign-in/", username="owner", password=TYPED))
    spoil_the_database()
    shown.append(ask(port, "GET", "/sign-in/"))
    shown.append(ask(port, "POST", "/sign-in/", username="owner", password=TYPED))
    for status, page in shown:
        print(f"--- {status}\n{page}")
    print("--- statuses", *(status for status, _ in shown))


def spoil_the_database() -> None:
    from django.db import connection

    if connection.vendor == "sqlite":
        with sqlite3.connect(Path(str(connection.settings_dict["NAME"]))) as spoilt:
            spoilt.execute("DROP TABLE people_mill")


def main() -> None:
    from django.core.management import call_command

    from wearlog.config.celery import app
    from wearlog.config.wsgi import application

    with make_server("127.0.0.1", 0, application) as server:  # type: ignore[arg-type]
        threading.Thread(target=server.serve_forever, daemon=True).start()
        show_pages(server.server_port)
        server.shutdown()
    for words in (
        ["doctor"],
        ["doctor", "--format", "json"],
        ["diffsettings", "--all"],
        ["check", "--deploy"],
    ):
        out = io.StringIO()
        with suppress(SystemExit):
            call_command(*words, stdout=out)
        print(f"--- {words}\n{out.getvalue()}")
    from django.conf import settings

    print(settings, app.bugreport(), app.conf, app.conf.humanize(with_defaults=True), app.connection())


if __name__ == "__main__":
    main()
