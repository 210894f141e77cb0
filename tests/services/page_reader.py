"""A process of the site that enters, refreshes and reads pages as it is told, a line of JSON each.

Started by `test_pages_of_processes`; it keeps what it has learned from one page to the next, as a server
does ("kept"), reads a page as a process that has just started ("started"), or from the log alone ("anew").
"""

from __future__ import annotations

import json
import random
import re
import sys
from contextlib import ExitStack, suppress
from datetime import timedelta
from unittest import mock

import django

CHANGING = re.compile(r'(name="(?:csrfmiddlewaretoken|ref)" value|nonce)="[^"]*"')


def main() -> None:
    django.setup()
    from django.test import Client
    from django.utils import timezone

    from tests.mills.logbook_mill import a_small_mill, stored_small_mill, vienna_mill
    from tests.mills.random_entries import add_rules, entries
    from wearlog.forecasts import lessons
    from wearlog.forecasts.memory import refresh, snapshots
    from wearlog.history import cache, sealed, sealing, versions
    from wearlog.people.models import User
    from wearlog.people.refusals import AlreadyMoved, Doubtful, Refused

    # The mill is small and its entries are a few weeks old: seal all that there is, as often as it may be.
    sealing.FEWEST, sealing.OPEN, sealing.QUIET = 1, timedelta(0), timedelta(0)
    client = Client()
    for line in sys.stdin:
        told = json.loads(line)
        answer: object = None
        if told["do"] == "build":
            vienna_mill()
            add_rules(a_small_mill(None))
            User.objects.create_user("owner", name="Owner", role="owner")
            versions.touch()
        elif told["do"] == "enter":
            before = versions.current()
            chance = random.Random(told["seed"])
            with suppress(Refused, Doubtful, AlreadyMoved):
                chance.choice(entries(stored_small_mill(None), chance))()
            answer = versions.current() != before
        elif told["do"] == "refresh":
            now = timezone.now()
            if told["by_press"]:  # as several workers do that share the presses out
                refresh.learn(at=now)
                for press_id in versions.latest().every_press:
                    cache.clear_all()
                    refresh.refresh(at=now, press_ids=[press_id])
            else:
                refresh.refresh(at=now)
        else:
            client.force_login(User.objects.get(username="owner"))
            with ExitStack() as stack:
                if told["how"] != "kept":
                    cache.clear_all()
                if told["how"] == "anew":
                    stack.enter_context(mock.patch.object(snapshots, "stored", return_value={}))
                    stack.enter_context(mock.patch.object(sealed, "sealed", return_value={}))
                    stack.enter_context(mock.patch.object(lessons, "find", return_value=None))
                page = client.get(told["path"])
            answer = [page.status_code, CHANGING.sub(r"\1", page.content.decode())]
        print(json.dumps(answer), flush=True)


if __name__ == "__main__":
    main()
