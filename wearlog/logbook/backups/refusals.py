"""Why a backup can't be made or put back. Each text says what to do; it is read on the command line."""

from __future__ import annotations


class BackupRefused(Exception):
    """Nothing was made, and nothing was changed."""


class Spoilt(BackupRefused):
    """The archive is not what was written: bytes changed, cut off, or made by something else."""


class TooNew(BackupRefused):
    """The archive was made by a newer Wearlog than this one."""


class InUse(BackupRefused):
    """Another program uses what would be swapped."""
