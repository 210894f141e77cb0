"""The one entrance for every write to the log, from a page, a phone's queue, a sheet of runs or a command.

The app that owns a table has the action that writes it. Here `entered` wraps that action, with the same
parameters and docstring, in one transaction that also raises the log's version, so that everything is stored
or nothing. Some are also checked against the isolation record (`closing`). Actions are keyword-only; `by` is
the person (None: the command line), `at` the time of the entry. They raise

- `NotAllowed` where the person's role lacks the permission,
- `AlreadyMoved` where somebody else has moved the part in the meantime,
- `Doubtful` where something looks wrong but may be right: ask, then call again with the codes in `confirmed`,
- `Refused` where it can't be accepted as it is; the text says what to do, `field` names the input.
"""

from __future__ import annotations

from wearlog.equipment import actions as moves
from wearlog.equipment import ordering
from wearlog.logbook import closing
from wearlog.logbook.corrections import correct, delete_photo, undo_move, void
from wearlog.logbook.door import entered
from wearlog.logbook.doubts import accept_exchange, accept_weight
from wearlog.logbook.sheets import log_sheet
from wearlog.logbook.things import remove_plan_entry, remove_thing, save_thing
from wearlog.people import accounts
from wearlog.runs import actions as runs
from wearlog.runs import bags, doubts, notes, readings
from wearlog.service import actions as service
from wearlog.service import incidents, photos

__all__ = [
    "accept_exchange",
    "accept_weight",
    "ask_again",
    "correct",
    "delete_photo",
    "fit",
    "flip",
    "keep_photos",
    "leave_note",
    "log_measurement",
    "log_reading",
    "log_run",
    "log_sheet",
    "log_work",
    "place_order",
    "receive_order",
    "record_crop_change",
    "release_lot",
    "remember_bag",
    "remove_plan_entry",
    "remove_thing",
    "replace",
    "report_incident",
    "save_person",
    "save_thing",
    "settle_doubt",
    "stop_run",
    "swap",
    "take_off",
    "undo_arrival",
    "undo_move",
    "void",
]

log_run = entered(closing.checks_pressing(runs.log_run))
stop_run = entered(closing.checks_pressing(runs.stop_run))
log_reading = entered(readings.log_reading)
remember_bag = entered(bags.remember_bag)
leave_note = entered(notes.leave_note)
settle_doubt = entered(doubts.settle_doubt)
ask_again = entered(doubts.ask_again)

log_work = entered(closing.log_work)
log_measurement = entered(service.log_measurement)
report_incident = entered(incidents.report_incident)
release_lot = entered(incidents.release_lot)
record_crop_change = entered(closing.record_crop_change)
keep_photos = entered(photos.keep)

fit = entered(closing.checks_moves(moves.fit))
take_off = entered(closing.checks_moves(moves.take_off))
flip = entered(closing.checks_moves(moves.flip))
replace = entered(closing.checks_moves(moves.replace))
swap = entered(closing.checks_moves(moves.swap))

place_order = entered(ordering.place_order)
receive_order = entered(ordering.receive_order)
undo_arrival = entered(ordering.undo_arrival)

save_person = entered(accounts.save_person)
