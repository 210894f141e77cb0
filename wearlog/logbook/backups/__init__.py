"""Backups of the whole mill, and the way back: one archive file holds database, photos and a manifest.

`making` makes them, `restoring` puts one back, `folder` and `retention` keep the ones that the schedule
makes, `status` tells how old the last one is. `docs/decisions/backup.md` says why it is built so.
"""
