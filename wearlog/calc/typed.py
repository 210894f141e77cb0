"""Numbers and hours as people type them.

How `parse_number` tells a decimal sign from a thousands separator, in this order:

1. Both point and comma occur: the last one is the decimal sign, the other separates groups of three digits.
2. One of them occurs more than once: it separates groups of three digits.
3. One occurs once and can't be a thousands separator (it is not followed by exactly three digits, or has no
   digit, more than three digits or a leading zero before it): it is the decimal sign. `1,5`, `0,125`,
   `1234,567`.
4. Otherwise it could be either, as in `1,234`. The person's own decimal sign decides, where it is known
   (`decimal`). Fields that never hold thousands, such as a gauge's millimetres, pass `grouped=False`, and it
   is read as the decimal sign. Without either, a point is the decimal sign and a comma is refused as
   ambiguous. A lone point is refused as ambiguous for people who write a decimal comma: `1.234` has a
   thousands separator in their language, and a decimal point in half of the programs that they use.

Spaces and apostrophes between groups of three digits are thousands separators.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from decimal import Decimal
from typing import Final

from wearlog.calc.texts import WordedProblem, gettext_noop

STEP: Final = Decimal("0.000001")


class NumberProblem(WordedProblem):
    """Typed text that can't be read as a number. `code` names the reason; the text says what to do."""

    def __init__(self, code: str, msgid: str, params: Mapping[str, object] | None = None) -> None:
        super().__init__(msgid, params)
        self.code = code


TOO_LONG: Final = gettext_noop("This number is too long: enter at most 9 digits and 6 decimals.")


def _plain_digits(text: str) -> str:
    """Digits of any script become 0-9, minus signs a hyphen, spaces and apostrophes a plain space."""
    out = []
    for sign in text.strip():
        if sign in "−–":
            out.append("-")
        elif sign == "٫":
            out.append(",")
        elif sign in "٬'’" or sign.isspace():
            out.append(" ")
        elif sign.isdecimal():
            out.append(str(unicodedata.decimal(sign)))
        else:
            out.append(sign)
    return "".join(out)


def _is_grouped(text: str, sign: str) -> bool:
    """Whether `sign` separates the digits of `text` into groups of three, as in 1,234,567."""
    return re.fullmatch(rf"[1-9]\d{{0,2}}(?:{re.escape(sign)}\d{{3}})+", text) is not None


def parse_number(text: str, *, decimal: str = "", grouped: bool = True) -> Decimal:
    """The number that a person typed, with comma or point; the docstring of this module explains the rules.

    `decimal` is the person's own decimal sign, "." or "," or "" where it is not known. Raises NumberProblem
    with code `empty`, `not_a_number`, `ambiguous` or `too_long`.
    """
    if decimal not in ("", ".", ","):
        raise ValueError(f"decimal must be '.', ',' or '', not {decimal!r}")
    typed = text.strip()
    if not typed:
        raise NumberProblem("empty", gettext_noop("Enter a number."))
    if len(typed) > 32:
        raise NumberProblem("too_long", TOO_LONG)
    plain = _plain_digits(typed)
    minus = plain.startswith("-")
    body = plain.lstrip("+-") if plain[:2] not in ("--", "++", "+-", "-+") else plain
    if " " in body:
        rest = body.lstrip("0123456789 ")
        whole = body.removesuffix(rest)
        if not _is_grouped(whole, " ") or " " in rest:
            raise _not_a_number(typed)
        body = whole.replace(" ", "") + rest
        grouped = False  # the thousands are parted already, so a sign that is left is the decimal sign
    value = Decimal(_without_grouping(body, typed, decimal, grouped))
    return -value if minus else value


def _not_a_number(typed: str) -> NumberProblem:
    if re.fullmatch(r"\d{1,4}:[0-5]\d(:[0-5]\d)?", typed):
        return NumberProblem(
            "not_a_number",
            gettext_noop("“%(typed)s” is a time of the clock: enter a plain number, as 7.5."),
            {"typed": typed},
        )
    return NumberProblem(
        "not_a_number",
        gettext_noop("“%(typed)s” is not a number: enter digits with one comma or point, as 1234.5."),
        {"typed": typed},
    )


def _without_grouping(body: str, typed: str, decimal: str, grouped: bool) -> str:
    """`body` without thousands separators and with at most one point. Raises NumberProblem."""
    points, commas = body.count("."), body.count(",")
    if points and commas:
        last = max(body.rfind("."), body.rfind(","))
        whole, fraction = body[:last], body[last + 1 :]
        other = "," if body[last] == "." else "."
        if not _is_grouped(whole, other):
            raise _not_a_number(typed)
        body = f"{whole.replace(other, '')}.{fraction}"
    elif points > 1 or commas > 1:
        sign = "." if points else ","
        if not _is_grouped(body, sign):
            raise _not_a_number(typed)
        body = body.replace(sign, "")
    elif points or commas:
        sign = "." if points else ","
        could_be_grouping = grouped and _is_grouped(body, sign)
        if could_be_grouping and decimal == "." and sign == ",":
            body = body.replace(sign, "")
        elif could_be_grouping and decimal != sign and (decimal or sign == ","):
            whole, fraction = body.split(sign)
            raise NumberProblem(
                "ambiguous",
                gettext_noop(
                    "“%(typed)s” can be read as %(whole)s or as %(parted)s: enter %(whole)s or %(parted)s0."
                ),
                {
                    "typed": typed,
                    "whole": f"{whole}{fraction}",
                    "parted": f"{whole}{decimal or '.'}{fraction}",
                },
            )
        else:
            body = body.replace(sign, ".")
    if not re.fullmatch(r"\d+(\.\d*)?|\.\d+", body):
        raise _not_a_number(typed)
    if len(body.partition(".")[0].lstrip("0")) > 9 or len(body.partition(".")[2].rstrip("0")) > 6:
        raise NumberProblem("too_long", TOO_LONG)
    return body


def parse_hours(text: str, *, decimal: str = "", grouped: bool = True) -> Decimal:
    """Hours as decimal hours: `7:30`, `7h30` and `7 h 30 min` are 7.5; `7.30` and `7,30` are 7.3.

    A point or comma always separates decimals of an hour, never minutes. Raises NumberProblem, with code
    `minutes` where the minutes or seconds are 60 or more.
    """
    plain = _plain_digits(text).lower()
    clock = re.fullmatch(
        r"(\d{1,6}) *(?::|h|h:) *(\d{1,2})(?: *(?::|m(?:in)?) *(?:(\d{1,2}) *s?)?)? *", plain
    )
    if clock is None:
        minutes_only = re.fullmatch(r"(\d{1,4}) *min", plain)
        if minutes_only:
            return (Decimal(minutes_only[1]) / 60).quantize(STEP)
        return parse_number(re.sub(r" *h$", "", plain), decimal=decimal, grouped=grouped)
    hours, minutes, seconds = (int(part or 0) for part in clock.groups())
    if minutes > 59 or seconds > 59:
        raise NumberProblem(
            "minutes",
            gettext_noop(
                "“%(typed)s” has %(minutes)s minutes: enter 0 to 59 minutes, or decimal hours as 7.5."
            ),
            {"typed": text.strip(), "minutes": minutes},
        )
    return (hours + Decimal(minutes) / 60 + Decimal(seconds) / 3600).quantize(STEP)


SAME_UNIT: Final[tuple[frozenset[str], ...]] = tuple(
    frozenset(words.split())
    for words in (
        "h hr hrs hour hours std std. stunde stunden heure heures",
        "kg kgs kilo kilos kilogram kilograms kilogramm kilogrammes",
        "t tonne tonnes tonnen",
        "bag bags sack säcke sac sacs",
        "bushel bushels bu bu. scheffel boisseau boisseaux",
        "lb lbs lb. lbs. pound pounds",
        "mm millimetre millimetres millimeter millimeters",
        'in in. inch inches "',
        "°c c",
        "°f f",
        "% percent pct prozent",
        "d day days tag tage tagen jour jours",
        "hz hertz",
        "a amp amps ampere amperes",
        "kwh",
    )
)
"""Words that people write for one unit, in lower case."""


def without_unit(text: str, unit: str) -> str:
    """The text without the unit behind the number, where that is `unit` or another word for it: `8 hours` and
    `150h` are 8 and 150 for the unit `h`. Anything else behind the number stays, so that it is refused."""
    found = re.fullmatch(r"(.*\d[.,]?) *([^\d\s.,:+-][^\d]*)", text.strip())
    if found is None or not unit:
        return text
    word, own = found[2].strip().lower(), unit.strip().lower()
    same = next((words for words in SAME_UNIT if own in words), frozenset((own,)))
    return found[1] if word == own or word in same else text
