"""`manage.py check --database default` reports guards of the database that are missing."""

from __future__ import annotations

from collections.abc import Sequence

from django.core.checks import CheckMessage, Warning

from wearlog.people import guards


def guards_stand(databases: Sequence[str] | None = None, **_: object) -> list[CheckMessage]:
    # A warning and no error: `migrate` runs the checks first, and it is `migrate` that restores the guards.
    return [
        Warning(
            f"The guard {name} is missing from the database {using!r}.",
            hint="Run `manage.py migrate`: it restores the guards.",
            id="wearlog.W001",
        )
        for using in databases or ()
        for name in guards.missing(using)
    ]
