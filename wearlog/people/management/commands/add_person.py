"""`manage.py add_person NAME`: add a person, or find one, and print a link that signs them in once."""

from __future__ import annotations

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import transaction
from django.utils import timezone

from wearlog.people import accounts, printed_links
from wearlog.people.languages import known
from wearlog.people.models import Role, User
from wearlog.people.refusals import Refused


class Command(BaseCommand):
    help = "Add a person (or find one by name) and print a link that signs them in once, within 24 hours."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("name", help="the name to sign in with")
        parser.add_argument(
            "--role",
            choices=Role.values,
            help="what the person may do; unsaid, a new person is an operator and others keep theirs",
        )
        parser.add_argument("--email", help="where reminders go")
        parser.add_argument(
            "--language",
            choices=known(),
            help="what the person reads; unsaid, a new person reads the mill's, others keep theirs",
        )
        parser.add_argument(
            "--host", help="where the site is, as in http://192.0.2.7:8000 (default: SITE_URL)"
        )

    def handle(
        self,
        *args: object,
        name: str,
        role: str | None,
        email: str | None,
        language: str | None,
        host: str | None,
        **options: object,
    ) -> None:
        now = timezone.now()
        try:
            with transaction.atomic():
                user = User.objects.filter(username__iexact=name.strip()).first()
                added = user is None
                user = user or User(username=name, name=name)
                user.role = role or user.role
                user.language = language or user.language
                if email is not None:
                    user.email = email
                user = accounts.save_person(by=None, at=now, user=user)
                link = printed_links.printed_link(user=user, at=now, site=host or "")
        except Refused as refused:
            raise CommandError(refused.message) from refused
        said = "Added" if added else "Found"
        self.stdout.write(f"{said} {user}, {user.get_role_display()}. The link works once, within 24 hours:")
        self.stdout.write(link)
