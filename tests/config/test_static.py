"""Names of static files on a server: hashed where collected, plain and fresh where that was forgotten."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
ASK = """
import re, django
django.setup()
from tests.migrated import migrate
from django.test import Client
migrate()
client = Client(headers={"host": "mill.example"})
page = client.get("/sign-in/").content.decode()
name = re.search(r'href="(/static/web/paper[^"]*)"', page)[1]
answer = client.get(name)
print(name, answer.status_code, answer.headers["Cache-Control"], sep="|")
print(re.search(r'"statics": "([^"]*)"', client.get("/worker.js").content.decode())[1])
"""


def ask(folder: Path, *command: str) -> str:
    clean = {name: value for name, value in os.environ.items() if not name.startswith("PYTEST_")}
    site = {
        "DJANGO_SETTINGS_MODULE": "wearlog.config.settings", "HTTPS": "off",
        "ALLOWED_HOSTS": "mill.example", "DATA_DIR": str(folder),
        "DATABASE_URL": f"sqlite:///{folder / 'wearlog.sqlite3'}",
    }  # fmt: skip
    done = subprocess.run(
        [sys.executable, *command], cwd=ROOT, env=clean | site, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stderr[-3000:]
    return done.stdout


def test_collected_files_are_named_after_what_is_in_them_and_kept_for_good(tmp_path: Path) -> None:
    ask(tmp_path, "manage.py", "collectstatic", "--no-input")
    first, statics = ask(tmp_path, "-c", ASK).splitlines()
    name, status, cached = first.split("|")
    stem, middle, ending = name.rsplit("/", 1)[1].split(".")
    assert (stem, len(middle), ending) == ("paper", 12, "css")
    assert status == "200"
    assert "immutable" in cached
    assert statics == "/static/"


def test_who_forgets_to_collect_gets_the_present_files_under_their_plain_names(tmp_path: Path) -> None:
    name, status, cached = ask(tmp_path, "-c", ASK).splitlines()[0].split("|")
    assert (name, status) == ("/static/web/paper.css", "200")
    assert "immutable" not in cached
    ask(tmp_path, "manage.py", "collectstatic", "--no-input")
    # As after an upgrade: what was collected is the version before.
    (tmp_path / "static" / "web" / "paper.css").write_text("p { color: red }")
    name, status, _ = ask(tmp_path, "-c", ASK).splitlines()[0].split("|")
    assert (name, status) == ("/static/web/paper.css", "200")
