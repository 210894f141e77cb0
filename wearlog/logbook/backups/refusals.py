"""The errors of making and restoring backups. Each text says what to do; it is shown on the command line."""

from __future__ import annotations


class BackupRefused(Exception):
    """Nothing was made, and nothing was changed."""


class Spoilt(BackupRefused):
    """The archive is damaged or truncated, or is no archive of Wearlog."""


class TooNew(BackupRefused):
    """The archive was made by a newer Wearlog than this one."""


class InUse(BackupRefused):
    """Another program uses the data that would be replaced."""
