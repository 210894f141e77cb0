"""A mail's bytes: plain 7-bit lines, and headers that every parser reads alike."""

from __future__ import annotations

from email.charset import QP, Charset
from email.header import Header
from typing import Any

from django.core.mail import EmailMultiAlternatives

LONGEST_LINE = 990
"""Letters of a header line, under the 998 of RFC 5322, 2.1.1."""

LONGEST_WORD = 75
"""Letters of an encoded word and its line (RFC 2047, 2)."""


def seven_bit() -> Charset:
    """UTF-8 as quoted-printable: short lines of plain letters, which every server on the way lets through
    (RFC 5321, 2.4 and 4.5.3.1.6)."""
    charset = Charset("utf-8")
    charset.body_encoding = QP
    charset.header_encoding = QP
    return charset


class Mail(EmailMultiAlternatives):
    """Django's mail, with the subject folded by the room that its name leaves, and no header folded before
    its first word: some parsers read such a fold as a blank, or as nothing at all."""

    def message(self, **how: Any) -> Any:
        made = super().message(**how)
        made.policy = made.policy.clone(max_line_length=LONGEST_LINE)
        subject = str(self.subject)
        charset = None if subject.isascii() else seven_bit()
        folded = Header(subject, charset, maxlinelen=LONGEST_WORD, header_name="Subject").encode()
        made.replace_header("Subject", folded)
        return made
