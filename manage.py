#!/usr/bin/env python3
"""Entry point of every Wearlog command."""

import os
import sys

from wearlog.config.commandline import prepare


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "wearlog.config.settings")
    prepare(sys.argv)
    from django.core.management import execute_from_command_line

    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
