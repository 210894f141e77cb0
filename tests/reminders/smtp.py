"""A real mail server on the loopback that keeps what it gets and answers as a script says."""

from __future__ import annotations

import asyncio
import email
import email.policy
import threading
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from email.message import EmailMessage

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, Envelope, Session

from tests.services.servers import free_port

OK = "250 OK"
DROP = "take the mail and hang up before the answer"
SILENT = "never answer"


@dataclass
class MailServer:
    """`rcpt` and `data` map an address to its next answers, `sender` has those to MAIL FROM; without one it
    is `250`. As an answer to `data`, DROP takes the mail and hangs up before it says so; SILENT, anywhere,
    leaves the sender waiting."""

    port: int = 0
    mails: list[EmailMessage] = field(default_factory=list)
    raw: list[bytes] = field(default_factory=list)
    rcpt: dict[str, list[str]] = field(default_factory=lambda: defaultdict(list))
    data: dict[str, list[str]] = field(default_factory=lambda: defaultdict(list))
    sender: list[str] = field(default_factory=list)
    on_mail: Callable[[EmailMessage], None] | None = None
    lock: threading.Lock = field(default_factory=threading.Lock)

    async def handle_MAIL(
        self, server: SMTP, session: Session, envelope: Envelope, address: str, options: list[str]
    ) -> str:
        with self.lock:
            answer = self.sender.pop(0) if self.sender else OK
        if answer == OK:
            envelope.mail_from = address
            envelope.mail_options.extend(options)
        return answer

    async def handle_RCPT(
        self, server: SMTP, session: Session, envelope: Envelope, address: str, options: list[str]
    ) -> str:
        answer = self._next(self.rcpt, address)
        await _wait_where(answer == SILENT)
        if answer == OK:
            envelope.rcpt_tos.append(address)
        return answer

    async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:
        answer = self._next(self.data, envelope.rcpt_tos[0])
        await _wait_where(answer == SILENT)
        if answer not in (OK, DROP):
            return answer
        content = envelope.content
        assert isinstance(content, bytes)
        mail = email.message_from_bytes(content, policy=email.policy.default)
        assert isinstance(mail, EmailMessage)
        with self.lock:
            self.mails.append(mail)
            self.raw.append(content)
        if self.on_mail:
            self.on_mail(mail)
        if answer == DROP:
            assert server.transport
            server.transport.abort()
        return OK

    def _next(self, script: dict[str, list[str]], address: str) -> str:
        with self.lock:
            return script[address].pop(0) if script[address] else OK

    def ids(self) -> list[str]:
        """The Message-ID of every mail taken, in order."""
        with self.lock:
            return [str(mail["Message-ID"]) for mail in self.mails]

    def copies(self) -> int:
        """How many mails came once more than the first time."""
        return sum(count - 1 for count in Counter(self.ids()).values())


async def _wait_where(silent: bool) -> None:
    if silent:
        await asyncio.sleep(3600)  # until the server stops


@contextmanager
def mail_server() -> Iterator[MailServer]:
    server = MailServer(port=free_port())
    controller = Controller(server, hostname="127.0.0.1", port=server.port)
    controller.start()
    try:
        yield server
    finally:
        controller.stop()
