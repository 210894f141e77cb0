"""The address that links in mails begin with."""

from __future__ import annotations

from pathlib import Path

import pytest
from django.core.exceptions import ImproperlyConfigured

from wearlog.config import environment


def site_url(value: str, root: Path) -> str:
    return environment.read({"SITE_URL": value, "DATA_DIR": str(root)}, root).site_url


def test_it_is_this_machine_where_nothing_is_set(tmp_path: Path) -> None:
    assert site_url("", tmp_path) == "http://127.0.0.1:8000"


def test_a_slash_at_the_end_does_not_matter(tmp_path: Path) -> None:
    assert site_url("https://wearlog.mill.example/", tmp_path) == "https://wearlog.mill.example"


@pytest.mark.parametrize("wrong", ["wearlog.mill.example", "ftp://mill.example", "https://"])
def test_what_is_no_web_address_is_refused_by_name_with_an_example(wrong: str, tmp_path: Path) -> None:
    with pytest.raises(ImproperlyConfigured, match=r"SITE_URL=.*as in https://wearlog\.mill\.example"):
        site_url(wrong, tmp_path)
