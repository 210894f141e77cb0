"""What people said of a due item, beside it: `{% marks_of item as marks %}`."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from urllib.parse import urlencode

from django import template
from django.template.context import RequestContext
from django.urls import reverse

from wearlog.forecasts.items import DueItem
from wearlog.reminders.outbox.calls import NO_MARKS, Marks
from wearlog.reminders.outbox.keys import item_key
from wearlog.web.site.tags.due import card_key

register = template.Library()


@register.simple_tag(takes_context=True)
def marks_of(context: RequestContext, item: DueItem) -> Marks:
    """The item's marks; all marks are loaded once per page, for the first item."""
    found: Marks = context["request"].marks.get(item_key(item), NO_MARKS)
    return found


@register.simple_tag
def order_day(item: DueItem, orders: Mapping[str, date] | str) -> date | str:
    """The last day to order the part, where the page has computed it; else an empty text."""
    return orders.get(item_key(item), "") if isinstance(orders, Mapping) else ""


@register.filter
def markable(item: DueItem, order_on: object) -> bool:
    """Whether the item can be marked: it is in a stage that people are reminded of."""
    return item.state in ("coming", "due", "overdue") or bool(order_on)


@register.filter
def mark_url(item: DueItem) -> str:
    """The URL of the page for marks on this item other than `seen`."""
    return f"{reverse('web:due-mark')}?{urlencode({'item': card_key(item)})}"


register.filter("item_key", item_key)
