"""A chart's description (Vega-Lite) as SVG that stands within a page.

Only what is needed is let through: shapes, texts, classes and presentation attributes. A style sheet or a
style attribute would be against the pages' content policy. The colours of a description are those of `INK`,
`SHEET`, `LINE`, `SOFT`, `STEEL`, `WASH` and `RANGE`, which drawing.css replaces by the colours of the page,
by day and night.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from typing import cast
from xml.etree import ElementTree

from django.utils.safestring import SafeString, mark_safe

from wearlog.history.cache import Cache

Spec = Mapping[str, object]

INK, SHEET, LINE, SOFT, STEEL = "black", "white", "gainsboro", "dimgray", "steelblue"
WASH, RANGE = "wheat", "tan"
"""Of a crop's bar, and of a range; in the page the range lets what lies below it shine through."""
VEGA_LITE = "5.21"

SHAPES = {"svg", "g", "path", "line", "text"}
KEPT = {
    *("class", "transform", "d", "x2", "y2", "viewBox"),
    *("fill", "stroke", "stroke-width", "stroke-dasharray", "text-anchor", "font-size", "font-weight"),
}
DROPPED = {
    *(
        "version",
        "width",
        "height",
        "role",
        "pointer-events",
        "stroke-miterlimit",
        "font-family",
        "opacity",
        "font-style",
    ),
    *("stroke-linecap", "stroke-linejoin", "stroke-opacity", "fill-opacity", "focusable", "clip-path"),
}
"""Attributes that the library writes and the page does without."""
INHERITED = ("fill", "stroke", "stroke-width", "font-size", "font-weight", "text-anchor")
"""Attributes that a group has for all it holds, where all have the same."""
LONG_FRACTION = re.compile(r"-?\d+\.\d{2,}")
CIRCLE = re.compile(r"M([\d.]+),0A\1,\1,0,1,1,-\1,0A\1,\1,0,1,1,\1,0")


class UnexpectedMarkup(ValueError):
    """The library has written something that is not known to be harmless within a page."""


_DRAWN: Cache[str, str] = Cache("charts", most=256)


def chart_svg(spec: Spec, *, label: str) -> SafeString:
    """The picture as an `svg` element with the role of an image, named by the label. It is drawn once for
    each description, and has no size of its own but a viewBox. Raises UnexpectedMarkup."""
    text = json.dumps(spec, sort_keys=True)
    with _DRAWN.making:  # two pictures at a time would be drawn one after the other all the same
        inner = _DRAWN.get(text, lambda: _drawn(spec))
    root = ElementTree.fromstring(inner)  # noqa: S314  # written by `cleaned`
    root.set("class", "chart")
    root.set("role", "img")
    root.set("aria-label", label)
    return mark_safe(ElementTree.tostring(root, encoding="unicode"))  # noqa: S308  # an allow-list, escaped


def _drawn(spec: Spec) -> str:
    """The picture. The library would measure each word by shaping it, which takes ten times as long as all
    the rest and serves nothing, since it is settled before where words stand: so they are written here."""
    layers = cast("Sequence[Spec]", spec.get("layer", ()))
    words = [layer for layer in layers if _is_text(layer)]
    if not words:
        return cleaned(_draw(json.dumps(spec, sort_keys=True)))
    others = [layer for layer in layers if layer not in words]
    svg = _draw(json.dumps({**spec, "layer": others}, sort_keys=True))
    usual = cast("Mapping[str, Mapping[str, object]]", spec["config"])["text"]
    return cleaned(svg, [_written(layer, usual) for layer in words])


def _is_text(layer: Spec) -> bool:
    mark = layer.get("mark")
    return isinstance(mark, dict) and mark["type"] == "text"


ANCHORS = {"left": "start", "right": "end"}
FOOT = 0.3
"""How far below the middle of a word its letters stand, in parts of their size."""


def _written(layer: Spec, usual: Mapping[str, object]) -> ElementTree.Element:
    """A layer of words as the library would write it. usual: how they are where the layer says nothing."""
    mark = {**usual, **cast("Mapping[str, object]", layer["mark"])}
    size = cast("int", mark["fontSize"])
    group = ElementTree.Element("g", {"class": f"{layer['name']}_marks"})
    for row in cast("Mapping[str, Sequence[Mapping[str, object]]]", layer["data"])["values"]:
        x, y = cast("float", row["x"]), cast("float", row["y"]) + int(FOOT * size + 0.5)
        attributes = {
            "text-anchor": ANCHORS.get(str(mark.get("align")), "middle"),
            "transform": f"translate({x:.10g},{y:.10g})",
            "font-size": f"{size}px",
            "font-weight": str(mark.get("fontWeight", "")),
            "fill": str(mark["fill"]),
        }
        ElementTree.SubElement(group, "text", attributes).text = str(row["word"])
    return group


def _draw(spec: str) -> str:
    # Imported here, since it is large: a process that draws nothing does without.
    import vl_convert

    return vl_convert.vegalite_to_svg(spec, vl_version=VEGA_LITE, allowed_base_urls=[])


def cleaned(svg: str, words: Sequence[ElementTree.Element] = ()) -> str:
    """The same picture with nothing but shapes, texts, classes and presentation attributes; `words` come last
    within its plot. Raises UnexpectedMarkup."""
    root = ElementTree.fromstring(svg)  # noqa: S314  # written by the library from our own description
    if words:
        _plot(root).extend(words)
    made = _cleaned(root)
    if len(made) != 1:
        raise UnexpectedMarkup("Not one picture.")
    return ElementTree.tostring(made[0], encoding="unicode")


def _plot(root: ElementTree.Element) -> ElementTree.Element:
    """The group that holds axes and marks."""
    groups = (each for each in root.iter() if "root" in each.get("class", "").split())
    found = next(groups, root).find("{*}g/{*}g")
    if found is None:
        raise UnexpectedMarkup("No plot.")
    return found


def _cleaned(element: ElementTree.Element) -> list[ElementTree.Element]:
    """What is left of an element: itself, only what it holds, or nothing."""
    tag = element.tag.rpartition("}")[2]
    if tag not in SHAPES:
        raise UnexpectedMarkup(f"An element {tag}.")
    classes = element.get("class", "").split()
    if {"background", "foreground"} & set(classes) or element.get("opacity") == "0":
        return []  # without a colour
    made = ElementTree.Element(tag, _attributes(element))
    made.text = element.text if tag == "text" else None
    for child in element:
        made.extend(_cleaned(child))
    name = next((name for name in map(_own_name, classes) if name), "")
    if name:
        made.set("class", name)
    if tag == "path":
        _make_circle(made)
    if tag == "g":
        _gather(made)
        if len(made) == 0:
            return []
        if not made.attrib:
            return list(made)
    return [made]


def _attributes(element: ElementTree.Element) -> dict[str, str]:
    found = {}
    for name, value in element.attrib.items():
        if name in KEPT:
            short = LONG_FRACTION.sub(lambda number: f"{round(float(number[0]), 1):g}", value)
            if short not in ("translate(0,0)", ""):
                found[name] = short
        elif name not in DROPPED and not name.startswith("aria-"):
            raise UnexpectedMarkup(f"An attribute {name}.")
    found.pop("class", None)
    return found


def _make_circle(path: ElementTree.Element) -> None:
    """A path around a circle becomes a circle, which takes a fifth of the room."""
    round_ = CIRCLE.fullmatch(path.get("d", ""))
    if round_ is not None:
        path.tag = "circle"
        path.attrib.pop("d")
        path.set("r", round_[1])


def _gather(group: ElementTree.Element) -> None:
    """Give the group what all that it holds has alike."""
    for name in INHERITED:
        values = {child.get(name) for child in group}
        value = values.pop() if len(values) == 1 else None
        if value is not None:
            group.set(name, value)
            for child in group:
                child.attrib.pop(name)


def _own_name(name: str) -> str:
    """The name of a group by what it was called in the description: `words_marks` becomes `words`, an axis's
    `role-axis-grid` becomes `axis-grid`."""
    if name.endswith("_marks"):
        return name.removesuffix("_marks")
    return name.removeprefix("role-") if name.startswith("role-axis-") else ""
