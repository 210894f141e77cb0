"""Names a device from its User-Agent header: `Firefox on Android`, and nothing more precise.

Browsers claim to be one another, so the order matters: the first word found in the header decides.
"""

from __future__ import annotations

from django.utils.translation import gettext as _

BROWSERS = (
    ("Edg", "Edge"),
    ("OPR/", "Opera"),
    ("SamsungBrowser", "Samsung Internet"),
    ("Firefox", "Firefox"),
    ("FxiOS", "Firefox"),
    ("CriOS", "Chrome"),
    ("Chrome", "Chrome"),
    ("Chromium", "Chrome"),
    ("Safari", "Safari"),
)
SYSTEMS = (
    ("iPhone", "iPhone"),
    ("iPad", "iPad"),
    ("Android", "Android"),
    ("CrOS", "ChromeOS"),
    ("Windows", "Windows"),
    ("Macintosh", "Mac"),
    ("Linux", "Linux"),
)
MAC_OR_IPAD = "Mac/iPad"
"""An iPad may send the User-Agent of a Mac and then can't be distinguished from one."""


def device_of(user_agent: str) -> str:
    """`Firefox on Android`, or only one half, or empty, as far as the header tells. In English, as it is
    stored."""
    browser = next((name for word, name in BROWSERS if word in user_agent), "")
    system = next((name for word, name in SYSTEMS if word in user_agent), "")
    if (browser, system) == ("Safari", "Mac"):
        system = MAC_OR_IPAD
    return " on ".join(filter(None, (browser, system)))


def device_words(device: str) -> str:
    """A stored device name in the active language."""
    if not device:
        return _("A device that does not say what it is")
    browser, found, system = device.partition(" on ")
    if system == MAC_OR_IPAD:
        system = _("Mac or iPad")
    return _("%(browser)s on %(system)s") % {"browser": browser, "system": system} if found else device
