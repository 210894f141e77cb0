"""A Ctrl-C that Python dropped while the site was starting still ends it."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from tests.config.quickstart_process import hears_ctrl_c

ROOT = Path(__file__).resolve().parents[2]
DROPPED = """
import gc, os, signal, socket, weakref
import django
django.setup()
from wearlog.config import embedded
embedded.end_on_terminate()

class Thing:
    pass

def ask(_reference):
    os.kill(os.getpid(), signal.SIGINT)
    for _ in range(1000):  # until Python calls the handler, whose exception is dropped here
        pass

thing = Thing()
reference = weakref.ref(thing, ask)
del thing
print("started", flush=True)
listening = socket.create_server(("127.0.0.1", 0))
try:
    embedded.serve(lambda environ, start: [], [listening])
except KeyboardInterrupt:
    print("ended", flush=True)
"""


def test_a_ctrl_c_that_was_dropped_during_the_start_ends_the_site(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-c", DROPPED],
        cwd=ROOT,
        env={"DJANGO_SETTINGS_MODULE": "wearlog.config.settings", "DATA_DIR": str(tmp_path)},
        capture_output=True,
        text=True,
        timeout=120,
        preexec_fn=hears_ctrl_c,
    )
    assert "KeyboardInterrupt" in done.stderr, "Python dropped it, and said so"
    assert done.stdout.split() == ["started", "ended"]
