"""`manage.py sign_in_link [NAME]`: print a link that signs a person in once. Nothing else about the person
changes."""

from __future__ import annotations

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from wearlog.people import printed_links
from wearlog.people.models import User
from wearlog.people.refusals import Refused


class Command(BaseCommand):
    help = (
        "Print a link that signs a person in once, within 24 hours; without a name, the mill's first owner."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("name", nargs="?", help="the name to sign in with (default: the first owner's)")
        parser.add_argument(
            "--host", default="", help="where the site is, as in http://192.0.2.7:8000 (default: SITE_URL)"
        )
        parser.add_argument("--data", metavar="DIR", help="folder for the database and the key")

    def handle(self, *args: object, name: str | None, host: str, **options: object) -> None:
        if name is None:
            user = printed_links.first_owner()
            if user is None:
                raise CommandError(
                    "Nobody owns this mill yet: add somebody with add_person NAME --role owner."
                )
        else:
            user = User.objects.filter(username__iexact=name.strip()).first()
            if user is None:
                raise CommandError(
                    f"Nobody signs in as {name!r}: see the page “People”, or add them with add_person."
                )
        try:
            link = printed_links.printed_link(user=user, at=timezone.now(), site=host)
        except Refused as refused:
            raise CommandError(refused.message) from refused
        self.stdout.write(f"Sign in as {user} (once, within 24 hours):")
        self.stdout.write(f"  {link}")
