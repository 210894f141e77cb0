"""The site as the offline soak's phones see it: `python -m tests.soak.offline.server PORT [BREAK]`."""

from __future__ import annotations

import logging
import secrets
import sys
from typing import Any
from unittest import mock


def forgets_entries() -> None:
    """No entry's name is remembered, and a note that comes twice is not known again."""
    from wearlog.logbook import actions
    from wearlog.web.log.views.events import NoteNew
    from wearlog.web.models import QueuedEntry

    create = QueuedEntry.objects.create
    mock.patch.object(
        QueuedEntry.objects, "create", lambda **row: create(**{**row, "name": secrets.token_hex(8)})
    ).start()

    def act(page: Any, form: Any, now: Any) -> Any:
        return actions.leave_note(
            by=page.request.user, at=now, text=form.text_of("text"), by_name="", press_id=None
        )

    mock.patch.object(NoteNew, "act", act).start()


def overwrites() -> None:
    """Work goes to whatever sits there now, not to what the person had in front of them."""
    from wearlog.equipment.models import Fitting
    from wearlog.equipment.queries import next_edge
    from wearlog.web.log.views.work import WorkNew

    prepare = WorkNew.prepare

    def at_what_sits_there(page: Any) -> None:
        if page.request.method == "POST" and page.request.POST.get("position"):
            now = Fitting.objects.filter(
                position=page.request.POST["position"], removed_at=None, voided_at=None
            ).get()
            page.request.POST = page.request.POST.copy()
            page.request.POST["fitting"] = str(now.pk)
            page.request.POST["to_edge"] = next_edge(now)
            page.request.POST["done_at"] = ""
        prepare(page)

    mock.patch.object(WorkNew, "prepare", at_what_sits_there).start()


def holds_all() -> None:
    """The phone holds back everything that was typed after what was refused."""
    from django.http import HttpResponse
    from whitenoise.middleware import WhiteNoiseMiddleware

    serve = WhiteNoiseMiddleware.serve

    def with_another_rule(static_file: Any, request: Any) -> Any:
        answer = serve(static_file, request)
        if request.path.endswith("/order.js") and answer.status_code == 200:
            text = b"".join(answer.streaming_content).decode()
            rule = "one.changes?.some((thing) => entry.needs?.includes(thing))"
            assert rule in text
            return HttpResponse(text.replace(rule, "true"), content_type="text/javascript")
        return answer

    mock.patch.object(WhiteNoiseMiddleware, "serve", staticmethod(with_another_rule)).start()


BREAKS = {"forgets-entries": forgets_entries, "overwrites": overwrites, "holds-all": holds_all}


def main() -> None:
    from waitress import serve

    from wearlog.config.wsgi import application

    logging.disable()
    if sys.argv[2:]:
        BREAKS[sys.argv[2]]()
    serve(application, host="127.0.0.1", port=int(sys.argv[1]), threads=8)


if __name__ == "__main__":
    main()
