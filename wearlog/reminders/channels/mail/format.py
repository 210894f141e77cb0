"""The encoding of mails: 7-bit lines, and headers that every parser reads in the same way."""

from __future__ import annotations

from email.charset import QP, Charset
from email.header import Header
from typing import Any

from django.core.mail import EmailMultiAlternatives

LONGEST_LINE = 990
"""Characters in a header line; the limit of RFC 5322, 2.1.1 is 998."""

LONGEST_WORD = 75
"""Characters in an encoded word and its line (RFC 2047, 2)."""


def seven_bit() -> Charset:
    """UTF-8 as quoted-printable: short lines of ASCII characters, which every mail server accepts
    (RFC 5321, 2.4 and 4.5.3.1.6)."""
    charset = Charset("utf-8")
    charset.body_encoding = QP
    charset.header_encoding = QP
    return charset


class Mail(EmailMultiAlternatives):
    """Django's mail, with the subject folded with regard to the length of the header's name, and no header
    folded before its first word, which some parsers read as a space or as an empty header."""

    def message(self, **how: Any) -> Any:
        made = super().message(**how)
        made.policy = made.policy.clone(max_line_length=LONGEST_LINE)
        subject = str(self.subject)
        charset = None if subject.isascii() else seven_bit()
        folded = Header(subject, charset, maxlinelen=LONGEST_WORD, header_name="Subject").encode()
        made.replace_header("Subject", folded)
        return made
