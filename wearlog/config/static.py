"""Static files whose names contain a hash of their content, once collected and unless `DEBUG=1`."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from django.contrib.staticfiles import finders
from django.contrib.staticfiles.storage import ManifestStaticFilesStorage


class HashedNames(ManifestStaticFilesStorage):
    """Browsers may cache a file for ever, since a new version has a new name.

    A file that changed since it was last collected keeps its plain name, under which the current version is
    served: without `collectstatic` after an upgrade the site is slower, but neither outdated nor broken.
    """

    def stored_name(self, name: str) -> str:
        hashed = self.hashed_files.get(self.hash_key(self.clean_name(name)))
        return hashed if hashed and is_collected(self.path(name), name) else name


@cache
def is_collected(collected: str, name: str) -> bool:
    source = finders.find(name)
    try:
        return isinstance(source, str) and Path(source).read_bytes() == Path(collected).read_bytes()
    except OSError:
        return False
