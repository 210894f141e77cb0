"""What the reminders keep: the outbox."""

from wearlog.reminders.models.outbox import OutboxQuerySet, OutboxRow, OutboxState, Stage

__all__ = ["OutboxQuerySet", "OutboxRow", "OutboxState", "Stage"]
