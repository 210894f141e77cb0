"""A real mail server whose answers are drawn by lot."""

from __future__ import annotations

import asyncio
import email
import email.policy
import random
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from email.message import EmailMessage

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, Envelope, Session

from tests.services.servers import free_port

ANSWERS = {"later": 0.03, "later at RCPT": 0.01, "lost answer": 0.03, "silence": 0.002, "never": 0.002}
"""How likely each is for one mail; else it is taken."""

SILENT_S = 0.4
"""Longer than the sender waits."""


@dataclass
class Post:
    """`refused`: addresses refused for good; `lost_answers`: mails that were taken without a word."""

    dice: random.Random
    port: int = 0
    taken: list[EmailMessage] = field(default_factory=list)
    answers: dict[str, float] = field(default_factory=lambda: dict(ANSWERS))
    refused: list[str] = field(default_factory=list)
    lost_answers: int = 0
    counts: dict[str, int] = field(default_factory=lambda: dict.fromkeys(ANSWERS, 0))

    def draw(self) -> str:
        point = self.dice.random()
        for name, share in self.answers.items():
            point -= share
            if point < 0:
                return name
        return "taken"

    async def handle_RCPT(
        self, server: SMTP, session: Session, envelope: Envelope, address: str, options: list[str]
    ) -> str:
        drawn = self.draw()
        if drawn == "later at RCPT":
            self.counts[drawn] += 1
            return "450 busy, come again"
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:
        drawn = self.draw()
        if drawn in self.counts and drawn != "later at RCPT":
            self.counts[drawn] += 1
        if drawn == "later":
            return "451 come again"
        if drawn == "never":
            self.refused.append(envelope.rcpt_tos[0])
            return "550 no such mailbox"
        if drawn == "silence":
            await asyncio.sleep(SILENT_S)
            return "451 too late"
        content = envelope.content
        assert isinstance(content, bytes)
        mail = email.message_from_bytes(content, policy=email.policy.default)
        assert isinstance(mail, EmailMessage)
        self.taken.append(mail)
        if drawn == "lost answer":
            self.lost_answers += 1
            assert server.transport is not None
            server.transport.close()
        return "250 OK"

    def fetch(self) -> list[EmailMessage]:
        """What was taken since the last call."""
        found, self.taken = self.taken, []
        return found


@contextmanager
def post(dice: random.Random) -> Iterator[Post]:
    server = Post(dice, port=free_port())
    controller = Controller(server, hostname="127.0.0.1", port=server.port)
    controller.start()
    try:
        yield server
    finally:
        controller.stop()
