"""Names of static files that change with what is in them, once they were collected and unless `DEBUG=1`."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from django.contrib.staticfiles import finders
from django.contrib.staticfiles.storage import ManifestStaticFilesStorage


class HashedNames(ManifestStaticFilesStorage):
    """A browser keeps a file for good, and a new version has a new name.

    A file that was not collected since it changed keeps its plain name, under which it is served as it is
    now: who forgets `collectstatic` after an upgrade gets a slower site, not an old or a broken one.
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
