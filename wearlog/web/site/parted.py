"""Long tables on a page, cut into parts that links lead to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Generic, TypeVar

from django.core.paginator import Paginator
from django.http import HttpRequest

Row = TypeVar("Row")
MOST = 25
"""Rows of a part: a list or a chart of more is longer than anybody looks at, and costs with each."""


@dataclass(frozen=True)
class Parted(Generic[Row]):
    """One part of the rows. first, last: the numbers of its rows among `all`, from 1 on. links: for each part
    its number and the query that leads to it; empty where there is one part only."""

    rows: Sequence[Row]
    number: int
    first: int
    last: int
    all: int
    links: tuple[tuple[int, str], ...]

    @classmethod
    def of(cls, request: HttpRequest, name: str, rows: Sequence[Row]) -> Parted[Row]:
        """The part that the query asks for by its number under this name; else the first one."""
        paginator = Paginator(rows, MOST)
        page = paginator.get_page(request.GET.get(name))
        query = request.GET.copy()
        links = []
        for number in paginator.page_range if paginator.num_pages > 1 else ():
            query[name] = str(number)
            links.append((number, f"?{query.urlencode()}"))
        return cls(
            rows=rows[max(page.start_index() - 1, 0) : page.end_index()],
            number=page.number,
            first=page.start_index(),
            last=page.end_index(),
            all=paginator.count,
            links=tuple(links),
        )
