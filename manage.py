#!/usr/bin/env python3
"""Entry point of every Wearlog command."""

import sys

from wearlog.config.commandline import run

if __name__ == "__main__":
    run(sys.argv)
