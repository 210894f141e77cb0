"""What a device is called, from what browsers really say."""

from __future__ import annotations

import pytest
from django.utils import translation

from wearlog.people.devices import device_of, device_words

WEBKIT = "AppleWebKit/537.36 (KHTML, like Gecko)"
SAFARI = "AppleWebKit/605.1.15 (KHTML, like Gecko)"


@pytest.mark.parametrize(
    ("said", "name"),
    [
        ("Mozilla/5.0 (Android 14; Mobile; rv:130.0) Gecko/130.0 Firefox/130.0", "Firefox on Android"),
        (
            f"Mozilla/5.0 (Linux; Android 10; K) {WEBKIT} Chrome/128.0.0.0 Mobile Safari/537.36",
            "Chrome on Android",
        ),
        (
            f"Mozilla/5.0 (Linux; Android 14; SM-A536B) {WEBKIT} SamsungBrowser/26.0 Chrome/122.0.0.0 Mobile "
            "Safari/537.36",
            "Samsung Internet on Android",
        ),
        (
            f"Mozilla/5.0 (iPhone; CPU iPhone OS 17_6 like Mac OS X) {SAFARI} Version/17.6 Mobile/15E148 "
            "Safari/604.1",
            "Safari on iPhone",
        ),
        (
            f"Mozilla/5.0 (iPhone; CPU iPhone OS 17_6 like Mac OS X) {SAFARI} CriOS/128.0.6613.98 "
            "Mobile/15E148 Safari/604.1",
            "Chrome on iPhone",
        ),
        (
            f"Mozilla/5.0 (Windows NT 10.0; Win64; x64) {WEBKIT} Chrome/128.0.0.0 Safari/537.36 "
            "Edg/128.0.0.0",
            "Edge on Windows",
        ),
        (
            f"Mozilla/5.0 (Macintosh; Intel Mac OS X 10_15_7) {SAFARI} Version/17.6 Safari/605.1.15",
            "Safari on Mac/iPad",
        ),
        ("Mozilla/5.0 (X11; Linux x86_64; rv:130.0) Gecko/20100101 Firefox/130.0", "Firefox on Linux"),
        ("curl/8.5.0", ""),
        ("", ""),
        ("\x00" * 5000, ""),
    ],
)
def test_a_device_is_called_by_its_browser_and_system(said: str, name: str) -> None:
    assert device_of(said) == name


@pytest.mark.parametrize(
    ("device", "words"),
    [
        ("Firefox on Android", "Firefox on Android"),
        ("Safari on Mac/iPad", "Safari on Mac or iPad"),
        ("Android", "Android"),
        ("", "A device that does not say what it is"),
    ],
)
def test_a_device_is_told_in_words(device: str, words: str) -> None:
    with translation.override("en"):
        assert device_words(device) == words
