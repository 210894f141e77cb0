"""Pictures are drawn by numbers with a point, whatever sign the reader's language sets in a number."""

from __future__ import annotations

import re

import pytest
from django.test import Client
from django.utils import timezone

from tests.mills.look_mill import LookMill
from wearlog.equipment.models import Part, Press
from wearlog.people.models import Mill, User

SHAPE = re.compile(r'\s(?:x|y|x1|x2|y1|y2|cx|cy|r|d|width|height|viewBox|transform|points)="([^"]*)"')


PLACED_BY_ITS_LENGTH = re.compile(
    r'<(?:text|line) transform="translate\(-?\d+(?:\.\d+)?,-?\d+(?:\.\d+)?\)"[^>]*>'
)
"""In charts: a word, and the line of a triangle, which is there where its word has room. What is placed by
anything but numbers with a point is held against the other languages."""


def shapes(page: str) -> list[str]:
    """Every coordinate of every drawing on the page."""
    found = []
    for picture in re.findall(r"<svg.*?</svg>", page, re.DOTALL):
        is_chart = 'class="chart"' in picture
        found += SHAPE.findall(PLACED_BY_ITS_LENGTH.sub("", picture) if is_chart else picture)
    return found


@pytest.mark.parametrize("language", ["fr", "de"])
def test_a_press_and_a_part_are_drawn_alike_in_every_language(
    client: Client, owner: User, mill: Mill, language: str
) -> None:
    LookMill(timezone.now())
    client.force_login(owner)
    paths = ["/", "/compare/", "/worth/", "/track-record/"]
    paths += [f"/presses/{press.pk}/" for press in Press.objects.all()]
    paths += [f"/parts/{part.pk}/" for part in Part.objects.all()]
    english = {path: shapes(client.get(path).content.decode()) for path in paths}
    assert any("." in value for values in english.values() for value in values), "no fraction, nothing told"
    User.objects.filter(pk=owner.pk).update(language=language)
    for path in paths:
        assert shapes(client.get(path).content.decode()) == english[path], path
