"""The list of parts as a sortable table."""

from __future__ import annotations

import django_tables2 as tables
from django.utils.translation import gettext_lazy

TEMPLATE = "web/site/parts/table.html"


class PartTable(tables.Table):  # type: ignore[misc]
    """One line for each part. Rows are dictionaries with the columns' names and the part's `pk`."""

    part = tables.Column(verbose_name=gettext_lazy("Part"), linkify=("web:part", {"pk": tables.A("pk")}))
    kind = tables.Column(verbose_name=gettext_lazy("Kind"), attrs={"td": {"class": "by-name"}})
    part_type = tables.Column(verbose_name=gettext_lazy("Type"), attrs={"td": {"class": "desk-only"}})
    place = tables.Column(verbose_name=gettext_lazy("Where"))
    worn = tables.Column(
        verbose_name=gettext_lazy("Worn"),
        attrs={"th": {"class": "num"}, "td": {"class": "num"}},
        empty_values=(None,),
    )
    due_on = tables.Column(verbose_name=gettext_lazy("Next"), empty_values=(None,))

    class Meta:
        template_name = TEMPLATE
        order_by_field = "sort"
        order_by = ("part",)
        empty_text = gettext_lazy("No part answers to this choice.")
        default = ""

    def render_worn(self, value: int) -> str:
        return f"{value} %"

    def render_due_on(self, record: dict[str, object]) -> str:
        return str(record["next_words"])
