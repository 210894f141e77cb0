"""Inline styles for mails, since many mail programs drop a style sheet in the head."""

from __future__ import annotations

import re

STYLES = {
    "page": "max-width:36em;margin:0 auto;padding:16px;font:17px/1.5 Georgia,serif;color:#1f1b16;"
    "background:#fbf7ee;overflow-wrap:anywhere",
    "title": "font-size:21px;line-height:1.3;margin:0 0 12px",
    "press": "font-size:20px;line-height:1.3;margin:32px 0 8px;padding-top:12px;border-top:2px solid #1f1b16",
    "task": "font-size:18px;line-height:1.3;margin:20px 0 6px",
    "line": "margin:0 0 10px",
    "go": "margin:12px 0 10px",
    "open": "display:inline-block;padding:14px 20px;color:#ffffff;background:#27506f;border-radius:4px;"
    "text-decoration:none",
    "foot": "margin:28px 0 0;padding-top:10px;border-top:1px solid #8a8171;font-size:15px",
    "foot-link": "color:#27506f",
    "caution": "border:3px solid #1f1b16;padding:12px 14px;margin:20px 0 0;background:#ffffff;color:#1f1b16",
    "caution-word": "font:bold 19px/1.2 Arial,sans-serif;letter-spacing:.06em;margin:0 0 8px",
    "caution-text": "margin:0 0 10px",
    "caution-lead": "font-weight:bold;margin:0 0 4px",
    "isolation-points": "margin:0;padding-left:20px",
}
CLASS = re.compile(r'\sclass="([^"]*)"')


def inlined(html: str) -> str:
    """Replace every class attribute by its style; a class without one is dropped. Text can't match by
    accident, since Django escapes quotation marks in it."""

    def style(found: re.Match[str]) -> str:
        styles = [STYLES[name] for name in found[1].split() if name in STYLES]
        return f' style="{";".join(styles)}"' if styles else ""

    return CLASS.sub(style, html)
