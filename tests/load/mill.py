"""The mill of the load run: `build PRESSES YEARS`, `people COUNT` (JSON), `refs`."""

from __future__ import annotations

import json
import sys

import django


def main() -> None:
    django.setup()
    from django.conf import settings
    from django.core.management import call_command
    from django.db import connection
    from django.test import Client
    from django.utils import timezone

    from tests.mills.large_mill import build
    from wearlog.equipment.models import Part, Press
    from wearlog.forecasts.memory import refresh
    from wearlog.people.models import Role, User
    from wearlog.runs.models import Crop, Run
    from wearlog.service.models import Service

    command, *numbers = sys.argv[1:]
    if command == "build":
        presses, years = (int(number) for number in numbers)
        call_command("migrate", verbosity=0)
        build(presses=presses, years=years, runs=presses * years * 1_000, parts=presses * years * 5)
        if connection.vendor == "postgresql":
            # A site's own server gathers these by itself within a minute; the tests' has that turned off, and
            # without them each entry of a run walks the index against overlaps from end to end.
            with connection.cursor() as cursor:
                cursor.execute("ANALYZE")
        refresh.refresh(at=timezone.now())
    elif command == "people":
        sessions = []
        for number in range(int(numbers[0])):
            person, _ = User.objects.get_or_create(
                username=f"person{number}", defaults={"name": f"Person {number}", "role": Role.OWNER}
            )
            client = Client()
            client.force_login(person)
            sessions.append(client.cookies[settings.SESSION_COOKIE_NAME].value)
        fitted = Part.objects.filter(fittings__removed_at=None).values_list("pk", flat=True)
        plan = {
            "cookie": settings.SESSION_COOKIE_NAME,
            "sessions": sessions,
            "presses": list(Press.objects.values_list("pk", flat=True)),
            "parts": list(fitted),
            "crop": Crop.objects.values_list("pk", flat=True)[0],
        }
        print(json.dumps(plan))
    else:
        for model in (Run, Service):
            print("\n".join(model.objects.exclude(ref="").values_list("ref", flat=True)))


if __name__ == "__main__":
    main()
