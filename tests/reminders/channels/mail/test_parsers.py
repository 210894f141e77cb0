"""The mails as they leave, read by parsers that have nothing in common with what wrote them.

`fast_mail_parser` reads MIME by code of its own, in another language; `tinyhtml5` reads HTML as browsers do.
"""

from __future__ import annotations

import dataclasses
import email
import email.policy
import re
from email.header import decode_header, make_header
from email.message import EmailMessage

import fast_mail_parser
import pytest
import tinyhtml5
from django.core.mail import EmailMultiAlternatives
from hypothesis import given
from hypothesis import strategies as st

from tests.mills.greasing import DUE, Greasing
from tests.reminders.channels.mail.digests import THREE
from tests.reminders.channels.mail.digests import mail_of as list_of
from tests.reminders.channels.mail.mails import ITEM, mail_of
from tests.reminders.smtp import MailServer
from wearlog.people.models import User
from wearlog.reminders.outbox.actions import scan, send_due

HEBREW = "\u05d1\u05d5\u05e8\u05d2"
TURNED = "\u202eegdirb\u202c"


def sent(mail: EmailMultiAlternatives) -> bytes:
    """As the bytes that Django hands to the server."""
    return mail.message().as_bytes(linesep="\r\n")


def parsed(raw: bytes) -> EmailMessage:
    mail = email.message_from_bytes(raw, policy=email.policy.default)
    assert isinstance(mail, EmailMessage)
    return mail


def texts_of(raw: bytes) -> list[str]:
    """Plain text and HTML as each of the two parsers has them."""
    mine, other = parsed(raw), fast_mail_parser.parse_email(raw)
    found = []
    for kind, there in (("plain", other.text_plain), ("html", other.text_html)):
        part = mine.get_body((kind,))
        assert part is not None
        assert len(there) == 1
        found += [part.get_content(), there[0]]
    return found


def squeezed_html(html: str) -> str:
    tree = tinyhtml5.parse(html, namespace_html_elements=False)
    return " ".join("".join(tree.find("body").itertext()).split())


def test_a_mail_that_went_through_a_server_reads_the_same_in_every_parser(
    greasing: Greasing, operator: User, smtp: MailServer
) -> None:
    scan(at=DUE)
    send_due(at=DUE, limit=10)
    (raw,) = smtp.raw
    mine, other = parsed(raw), fast_mail_parser.parse_email(raw)
    assert mine["Subject"] == other.subject == "Due: Lubricate North press (grease bearing)"
    assert not mine.defects
    assert [part.get_content_type() for part in mine.walk()] == [
        "multipart/alternative",
        "text/plain",
        "text/html",
    ]
    plain, plain_too, html, html_too = texts_of(raw)
    assert plain.replace("\r\n", "\n") == plain_too.replace("\r\n", "\n")
    for words in (" ".join(plain.split()), squeezed_html(html), squeezed_html(html_too)):
        assert "WARNING" in words
        assert "can start by itself" in words
        assert "Main motor (electrical): isolate at disconnect Q1" in words
        assert "the last lubrication on 1 March" in words


@pytest.mark.parametrize("raw", [sent(mail_of()), sent(list_of(THREE))], ids=["single", "list"])
def test_every_line_is_short_and_plain(raw: bytes) -> None:
    """At most 998 letters a line (RFC 5322, 2.1.1), and 7-bit throughout, whatever the servers on the way
    can do (RFC 5321, 2.4)."""
    lines = raw.split(b"\r\n")
    assert max(map(len, lines)) < 998
    assert all(byte < 128 for byte in raw)
    body = raw.partition(b"\r\n\r\n")[2].split(b"\r\n")
    assert max(len(line) for line in body) <= 78


@pytest.mark.parametrize("mail", [mail_of(), list_of(THREE)], ids=["single", "list"])
def test_the_html_stands_on_its_own(mail: EmailMultiAlternatives) -> None:
    """Nothing is fetched, nothing runs, and no style needs a sheet that the mail program may drop."""
    ((html, _kind),) = mail.alternatives
    tree = tinyhtml5.parse(str(html), namespace_html_elements=False)
    tags = {element.tag for element in tree.iter() if isinstance(element.tag, str)}
    assert not tags & {"img", "script", "link", "style", "iframe", "object", "video", "form", "svg"}
    for element in tree.iter():
        assert element.get("class") is None
        assert "url(" not in (element.get("style") or "")
        assert not [name for name in element.attrib if name.startswith("on") or name in ("src", "background")]
        if element.tag == "a":
            assert str(element.get("href")).startswith("http://127.0.0.1:8000/")
    (caution, *_more) = [each for each in tree.iter("div") if each.get("role") == "note"]
    assert "border:3px solid" in str(caution.get("style"))


def test_letters_beyond_ascii_come_through_in_header_and_parts() -> None:
    """RFC 2047 in the subject, UTF-8 in the parts."""
    item = dataclasses.replace(
        ITEM, press_name="Mühle Süd № 2", rule=f"Lötstelle {HEBREW}", why="≈ 0,31 mm – ½ t"
    )
    raw = sent(mail_of(item))
    (line,) = re.findall(rb"^Subject: ((?:.|\r\n )*?)\r\n(?! )", raw, re.MULTILINE)
    assert b"=?utf-8?" in line
    assert all(len(word) <= 75 for word in re.findall(rb"=\?\S+\?=", line))  # RFC 2047, 2
    wanted = f"Coming up: Replace die D-07, edge B · Mühle Süd № 2 (Lötstelle {HEBREW})"
    assert str(make_header(decode_header(line.decode().replace("\r\n", "")))) == wanted
    assert parsed(raw)["Subject"] == fast_mail_parser.parse_email(raw).subject == wanted
    for text in texts_of(raw):
        assert "≈ 0,31 mm – ½ t" in text


def test_a_name_that_turns_the_reading_direction_is_told_without_the_turn() -> None:
    """Right-to-left letters stay; the marks that would turn what follows them are taken out."""
    item = dataclasses.replace(ITEM, rule=f"{TURNED} {HEBREW}")
    raw = sent(mail_of(item))
    assert parsed(raw)["Subject"] == f"Coming up: Replace die D-07, edge B · North press (egdirb {HEBREW})"
    for text in texts_of(raw):
        assert "egdirb" in text
        assert not re.search("[\u202a-\u202e\u2066-\u2069]", text)


names = st.text(st.characters(exclude_categories=["Cs"]), max_size=120)


@given(rule=names, part=names, press=names, why=names, instructions=names)
def test_no_name_adds_a_header_or_breaks_a_part(
    rule: str, part: str, press: str, why: str, instructions: str
) -> None:
    """Newlines, controls, markup, quotes, any letter: the headers stay the same ones, each in one line, and
    the caution is whole in both parts."""
    plain = sent(mail_of())
    item = dataclasses.replace(
        ITEM, rule=rule, part=part, press_name=press, why=why, instructions=instructions
    )
    raw = sent(mail_of(item))
    mine = parsed(raw)
    assert mine.keys() == parsed(plain).keys()
    assert len(str(mine["Subject"])) <= 200
    for text in texts_of(raw):
        words = " ".join(re.sub("<[^>]+>", " ", text).split())
        assert "The screw can start by itself. Try the start before you touch anything." in words
        assert "Heater (heat): isolate at Q2" in words


def test_a_sender_that_breaks_the_header_is_refused_by_django(settings: object) -> None:
    """A line break in an address is no business of ours to mend: the row is set aside (`test_sending`)."""
    mail = mail_of()
    mail.to = ["x@mill.example\nBcc: all@mill.example"]
    with pytest.raises(ValueError, match="newlines"):
        mail.message()


def test_the_message_id_and_the_stop_link_are_one_word_each() -> None:
    """RFC 5322, 3.6.4 and RFC 2369, 2: in angle brackets, without a blank inside."""
    mail = parsed(sent(mail_of()))
    for name in ("Message-ID", "List-Unsubscribe"):
        assert re.fullmatch(r"<[^<>\s]+>", str(mail[name]))
