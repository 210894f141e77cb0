"""`{% load frames %}{% press_frame frame %}`: a press with its caution and its jobs. There is no other way to
draw a job in a list."""

from __future__ import annotations

from django import template
from django.template.context import RequestContext

from wearlog.web.site.frames import Frame, JobOutsideFrame

register = template.Library()


@register.inclusion_tag("web/site/parts/press_frame.html", takes_context=True)
def press_frame(
    context: RequestContext,
    frame: object,
    level: int = 2,
    pickable: bool = False,
    opened: bool = False,
    one_stop: bool = False,
) -> dict[str, object]:
    """`level` is the rank of the press's heading; without one (0) the press is named by the page. `pickable`
    adds the tick for job cards, `opened` shows the reasons at once. `one_stop`: the page is about all that
    one stop can do, and is come back to."""
    if not isinstance(frame, Frame):
        raise JobOutsideFrame(f"Jobs are drawn in a Frame, not in {frame!r}.")
    return {
        "request": context["request"],
        "csrf_token": context.get("csrf_token"),
        "frame": frame,
        "level": level,
        "below": (level or 2) + 1,
        "orders": context.get("orders"),
        "pickable": pickable,
        "opened": opened,
        "one_stop": one_stop,
    }


@register.inclusion_tag("web/site/parts/job_line.html", takes_context=True)
def job_line(context: RequestContext, job: object) -> dict[str, object]:
    """One job. Raises JobOutsideFrame unless the frame around it has a caution for it."""
    frame = context.get("frame")
    if not isinstance(frame, Frame):
        raise JobOutsideFrame("A job is drawn inside the frame of its press.")
    kept = ("request", "csrf_token", "frame", "below", "orders", "pickable", "opened", "one_stop")
    item = frame.demand(job)
    return {"item": item, "remarks": frame.remarks_on(item), **{name: context.get(name) for name in kept}}
