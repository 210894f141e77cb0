"""What must be known before settings load: the data folder named on the command line."""

import os
from collections.abc import Sequence


def prepare(argv: Sequence[str]) -> None:
    """Turn `--data DIR` (or `--data=DIR`) into the variable that the settings read."""
    for position, word in enumerate(argv):
        if word == "--data" and position + 1 < len(argv):
            os.environ["DATA_DIR"] = argv[position + 1]
        elif word.startswith("--data="):
            os.environ["DATA_DIR"] = word.partition("=")[2]
