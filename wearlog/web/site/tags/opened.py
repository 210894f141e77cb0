"""The address behind a figure, in a template: `{% opened "runs" "seed" part=part.code edge="A" %}`."""

from __future__ import annotations

from django import template

from wearlog.web.site.opened import opened

register = template.Library()
register.simple_tag(opened)
