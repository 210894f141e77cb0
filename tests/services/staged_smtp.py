"""A mail server that stops a conversation at a place of the test's choice and says when it is reached."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from enum import Enum

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, Envelope, Session

from tests.reminders.smtp import OK, MailServer
from tests.services.servers import free_port


class Place(Enum):
    """Where a sender is when it is killed."""

    BEFORE_LEASE = "before the lease"
    AFTER_LEASE = "after the lease, before DATA"
    MAIL_TAKEN = "mail taken, 250 not yet said"
    AFTER_250 = "after 250, before the commit"
    ANYWHERE = "anywhere"


@dataclass
class StagedServer(MailServer):
    """Holds the conversation in `place` once `after` mails were taken; `reached` is set when it stands there.

    `before_250` is called, where the place lies after it, before the answer goes out.
    """

    place: Place = Place.ANYWHERE
    after: int = 0
    reached: threading.Event = field(default_factory=threading.Event)
    go_on: threading.Event = field(default_factory=threading.Event)
    before_250: Callable[[], None] = lambda: None

    def stage(self, place: Place, *, after: int) -> None:
        """From now on."""
        self.reached.clear()
        self.go_on.clear()
        self.after = len(self.ids()) + after
        self.place = place

    async def handle_RCPT(
        self, server: SMTP, session: Session, envelope: Envelope, address: str, options: list[str]
    ) -> str:
        if self.place is Place.AFTER_LEASE and len(self.ids()) >= self.after:
            await self._hold()
        return await super().handle_RCPT(server, session, envelope, address, options)

    async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:
        here = len(self.ids()) >= self.after
        answer = await super().handle_DATA(server, session, envelope)
        if here and answer == OK:
            if self.place is Place.MAIL_TAKEN:
                await self._hold()
            elif self.place is Place.AFTER_250:
                self.before_250()
        return answer

    async def handle_QUIT(self, server: SMTP, session: Session, envelope: Envelope) -> str:
        if self.place is Place.AFTER_250 and len(self.ids()) > self.after:
            self.reached.set()
        return "221 Bye"

    async def _hold(self) -> None:
        self.reached.set()
        while not self.go_on.is_set():
            await asyncio.sleep(0.005)


@contextmanager
def staged_server() -> Iterator[StagedServer]:
    server = StagedServer(port=free_port())
    controller = Controller(server, hostname="127.0.0.1", port=server.port)
    controller.start()
    try:
        yield server
    finally:
        server.go_on.set()
        controller.stop()
