"""The record that a scanned or typed code names: a press, a position or a part, with the present fitting."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import Q
from django.utils.translation import gettext as _

from wearlog.equipment.models import Fitting, Part, Position, Press
from wearlog.web.site.codes import Code, NoCode, read_code
from wearlog.web.site.known import PlaceNow


@dataclass(frozen=True)
class Thing:
    """What a code names. `fitting` is the open fitting of the position or the part."""

    code: Code
    press: Press | None
    position: Position | None
    part: Part | None
    fitting: Fitting | None

    @property
    def kind(self) -> str:
        """The part kind, empty for a press as a whole."""
        if self.part is not None:
            return self.part.part_type.kind
        return self.position.kind if self.position is not None else ""

    @property
    def place(self) -> PlaceNow | None:
        return PlaceNow(self.position, self.fitting) if self.position is not None else None

    @property
    def name(self) -> str:
        return str(self.part or self.position or self.press)


def thing_of(code: Code) -> Thing | None:
    """The record that the code names, or None where it no longer exists."""
    if code.kind == "press":
        press = Press.objects.filter(pk=code.pk).first()
        return Thing(code, press, None, None, None) if press else None
    open_fittings = Fitting.objects.open().select_related("part__part_type", "position__press")
    if code.kind == "position":
        position = Position.objects.select_related("press").filter(pk=code.pk).first()
        if position is None:
            return None
        fitting = open_fittings.filter(position=position).first()
        return Thing(code, position.press, position, fitting.part if fitting else None, fitting)
    part = Part.objects.select_related("part_type").filter(pk=code.pk).first()
    if part is None:
        return None
    fitting = open_fittings.filter(part=part).first()
    position = fitting.position if fitting else None
    return Thing(code, position.press if position else None, position, part, fitting)


MOST_FOUND = 20


def found_by(typed: str) -> list[Thing]:
    """Everything that the text may name: a code, the URL of a code, or the mill's own name of a press or
    part.

    Raises `NoCode` where there is nothing; its message says why it is not a valid code.
    """
    text = typed.strip().partition("/scan/")[2].strip("/") or typed.strip()
    own = [
        *(Code("part", pk) for pk in Part.objects.filter(code__iexact=text).values_list("pk", flat=True)),
        *(
            Code("press", pk)
            for pk in Press.objects.filter(Q(code__iexact=text) | Q(name__iexact=text)).values_list(
                "pk", flat=True
            )
        ),
    ][:MOST_FOUND]
    try:
        own.append(read_code(text))
    except NoCode:
        if not own:
            raise
    things = [thing for thing in map(thing_of, dict.fromkeys(own)) if thing is not None]
    if not things:
        raise NoCode(
            _("%(code)s is a whole code, but nothing in this mill's log has it. Is the label another mill's?")
            % {"code": text.upper()},
            field="code",
        )
    return things
