"""From nothing to a running site: database, demo mill, an owner with a sign-in link, pages and schedule."""

from __future__ import annotations

import ipaddress
import os
import shlex
import socket
import sys
from argparse import ArgumentParser
from contextlib import suppress
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.core.wsgi import get_wsgi_application
from django.db import DatabaseError, connection
from django.utils import timezone

from wearlog.config import embedded, plain_http, private_files, sqlite
from wearlog.config.celery import app
from wearlog.equipment.models import Press
from wearlog.logbook import demo
from wearlog.people import printed_links
from wearlog.people.models import Mill, Role, User

if TYPE_CHECKING:
    from wearlog.config.tls import Front

EVERYWHERE = frozenset(str(ipaddress.ip_address(bits)) for bits in (b"\0" * 4, b"\0" * 16))


class Command(BaseCommand):
    help = (
        "Make the database, load the demo mill if it is empty, and serve the site. "
        "The first start prints a sign-in link."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--port", type=int, default=8000, help="port to serve on (default 8000)")
        parser.add_argument(
            "--host",
            default="127.0.0.1",
            help="address to serve on; 0.0.0.0 lets a phone in the same network in",
        )
        parser.add_argument(
            "--https",
            action="store_true",
            help="encrypt by a certificate of the mill's own; pages then open without a network",
        )
        parser.add_argument("--no-demo", action="store_true", help="begin with an empty mill")
        parser.add_argument(
            "--language",
            choices=[code for code, _name in settings.LANGUAGES],
            default="",
            help="the language of a new mill, and of the names in the demo mill",
        )
        parser.add_argument(
            "--data", metavar="DIR", help="folder for the database and the key (default: data)"
        )

    def handle(
        self,
        *args: object,
        port: int,
        host: str,
        no_demo: bool,
        https: bool = False,
        language: str = "",
        **options: object,
    ) -> None:
        self.https, self.language = https, language
        if not 1 <= port <= 65535:
            raise CommandError(f"--port {port} can't be used: take a number from 1024 to 65535.")
        embedded.end_on_terminate()
        with suppress(KeyboardInterrupt):
            self._run(port=port, host=host, no_demo=no_demo)
        self.stdout.write("Wearlog has stopped; everything logged is kept.")

    def _run(self, *, port: int, host: str, no_demo: bool) -> None:
        on_sqlite = connection.vendor == "sqlite"
        if on_sqlite and (refusal := sqlite.too_old()):
            raise CommandError(refusal)
        try:
            private_files.make_folder(Path(settings.DATA_DIR))
            Path(settings.STATIC_ROOT).mkdir(exist_ok=True)
            with embedded.sole_use(settings.DATA_DIR), embedded.listen(host, port) as listening:
                self._prepare(no_demo=no_demo, at=timezone.now())
                if on_sqlite and (warning := sqlite.reset_fault()):
                    self.stderr.write(f"Note: {warning}")
                self._serve(host, port, listening)
        except embedded.Busy as busy:
            raise CommandError(str(busy)) from busy
        except OSError as error:
            raise CommandError(
                f"The data folder {settings.DATA_DIR} can't be used ({error.strerror}): make it writable, "
                "or name another with --data."
            ) from error
        except DatabaseError as error:
            raise CommandError(f"The database {self._place()} can't be used: {str(error).strip()}") from error

    def _prepare(self, *, no_demo: bool, at: datetime) -> None:
        self.stdout.write(f"Data: {self._place()}")
        call_command("migrate", verbosity=0, interactive=False)
        if not Mill.objects.exists() and not Press.objects.exists():
            if no_demo:
                Mill(name="Our mill", time_zone=local_zone(), units="metric", language=self.language).save()
            else:
                self.stdout.write("The database is empty: loading the demo mill ...")
                demo.load(by=None, today=at.astimezone().date(), language=self.language)
                Mill.objects.update(language=self.language)
        self.owner = printed_links.first_owner()
        self.is_first_start = self.owner is None
        if self.owner is None:
            self.owner = User.objects.create_user("owner", name="Owner", role=Role.OWNER, joined_at=at)

    def _serve(self, host: str, port: int, listening: socket.socket) -> None:
        addresses = embedded.own_addresses() if host in EVERYWHERE else [host]
        scheme = "https" if self.https else "http"
        origins = [origin(address, port, scheme) for address in addresses or ["127.0.0.1"]]
        settings.DEBUG = False  # whoever opens a page here is a user, not a developer
        settings.ALLOWED_HOSTS = [*settings.ALLOWED_HOSTS, *addresses]
        if not os.environ.get("HTTPS", "").strip():  # this command knows the scheme itself
            settings.SECURE_SSL_REDIRECT = settings.SESSION_COOKIE_SECURE = False
            settings.CSRF_COOKIE_SECURE, settings.SECURE_HSTS_SECONDS = False, 0
        if "SITE_URL" not in os.environ:  # so that links in mails lead to this server
            settings.SITE_URL = origins[0]
        self.stdout.write("Wearlog is at " + " and ".join(f"{one}/" for one in origins))
        if not self.https and (reached := plain_http.others(addresses or [host])):
            self.stderr.write(f"Warning: {plain_http.words(reached)}. Start with --https (docs/phone.md).")
        self._print_sign_in_link(origins[0])
        front = self._front(addresses, listening) if self.https else None
        schedule = imports = None
        if settings.CELERY_TASK_ALWAYS_EAGER:
            schedule, imports = embedded.Schedule(app), embedded.Imports()
            schedule.start()
            imports.start()
        else:
            self.stdout.write(
                "REDIS_URL is set, so reminders need `celery -A wearlog.config worker` "
                "and one `celery -A wearlog.config beat`."
            )
        self.stdout.write("Stop with Ctrl-C.")
        self.stdout.flush()
        try:
            if front is None:
                embedded.serve(get_wsgi_application(), [listening])
            else:
                front.start()
                embedded.serve(front.application(get_wsgi_application()), [front.inner], scheme)
        finally:
            if front:
                front.stop()
            if imports:
                imports.stop()
            if schedule:
                schedule.stop()

    def _print_sign_in_link(self, site: str) -> None:
        """Print a link that signs the owner in, only at the first start: output may end up in a log that
        others read. Later the owner asks for a link by command."""
        assert self.owner is not None
        if self.is_first_start:
            self.stdout.write(f"Sign in as {self.owner} (once, within 24 hours):")
            self.stdout.write(
                f"  {printed_links.printed_link(user=self.owner, at=timezone.now(), site=site)}"
            )
            return
        ask = ["manage.py", "sign_in_link", self.owner.username, "--host", site]
        if os.environ.get("DATA_DIR"):  # `--data` sets it as well
            ask += ["--data", str(settings.DATA_DIR)]
        self.stdout.write("For a link that signs you in, type in another window:")
        self.stdout.write(f"  {shlex.join([sys.executable, *ask])}")

    def _front(self, addresses: list[str], listening: socket.socket) -> Front:
        """Return the TLS server that stands in front of the site, and print what a phone must trust once."""
        try:
            from wearlog.config import authority, tls
        except ImportError as error:
            raise CommandError(
                "--https needs the package cryptography: pip install 'wearlog[https]'."
            ) from error
        hosts = [*addresses, "127.0.0.1", "localhost", *map(str, settings.ALLOWED_HOSTS)]
        folder = Path(settings.DATA_DIR) / "https"
        try:
            papers = authority.certificate_files(folder=folder, hosts=hosts, at=timezone.now())
        except ValueError as error:
            raise CommandError(f"The papers in {folder} can't be read: move that folder away.") from error
        settings.SESSION_COOKIE_SECURE = settings.CSRF_COOKIE_SECURE = True
        self.stdout.write(
            f"Each phone must be told once to trust {papers.authority} (docs/phone.md says how). Fingerprint:"
        )
        self.stdout.write(f"  {authority.fingerprint(papers.authority)}")
        return tls.Front(listening, embedded.listen("127.0.0.1", 0), papers)

    def _place(self) -> str:
        database = settings.DATABASES["default"]
        if connection.vendor == "sqlite":
            return str(database["NAME"])
        return f"{database['NAME']} on {database['HOST']}"


def origin(address: str, port: int, scheme: str = "http") -> str:
    return f"{scheme}://{f'[{address}]' if ':' in address else address}:{port}"


def local_zone() -> str:
    """The zone this machine is set to, else UTC; the owner changes it on the settings page."""
    link = Path("/etc/localtime")
    if link.is_symlink() and "zoneinfo/" in str(link.resolve()):
        return str(link.resolve()).partition("zoneinfo/")[2]
    return "UTC"
