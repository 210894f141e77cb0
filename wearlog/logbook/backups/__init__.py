"""Backups of the whole mill and restoring them: one archive file holds database, photos and a manifest.

`making` makes backups, `restoring` restores one, `folder` and `retention` manage the scheduled ones, `status`
tells how old the last one is. `docs/decisions/backup.md` gives the reasons for the design.
"""
