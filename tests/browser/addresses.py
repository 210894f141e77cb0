"""The address of every page that an owner can open, with records that are there."""

from __future__ import annotations

from collections.abc import Iterator

from django.urls import URLResolver, get_resolver
from django.utils import timezone

from tests.mills.look_mill import LookMill
from wearlog.equipment.models import PartOrder
from wearlog.forecasts.memory.queries import due_items
from wearlog.lockout.models import Lock
from wearlog.logbook.models import ImportJob
from wearlog.people.models import User
from wearlog.reminders.channels.mail.links import SINGLE, job_url, stop_url
from wearlog.runs.models import PlanEntry, Price
from wearlog.web.site.codes import Code

NOT_PAGES = {
    "import-problems",
    "sign-out", "sign-in", "sign-in-link", "export", "person-link", "job-card-pdf",
    "labels-pdf", "part-life-pdf", "season-report-pdf", "calendar-feed", "health", "waiting-token",
    "photo", "photo-small", "photo-delete",
    "worker", "manifest",
}  # fmt: skip


BUTTONS = {
    "calendar-end", "mail-address-clear", "webhook-test", "webhook-renew", "lock-confirm", "lock-told",
    "person-devices", "in-use", "import-cancel",
}  # fmt: skip


ASKS = {
    "due-mark": "item={rule}.{press}.{screw_place}.{screw}.-",
    "job-card": "item={rule}.{press}.{screw_place}.{screw}.-",
    "labels": "what=presses&what=places&what=fitted&what=shelf&size=large",
    "run-new": "press={press}",
    "work-new": "press={press}&fitting={fitting}&action=polish",
    "incident-new": "press={press}",
    "crop-change-new": "press={press}",
    "reading-new": "press={press}",
    "measurement-new": "part={die}",
    "fitting-new": "position={empty}",
    "fitting-end": "fitting={fitting}",
    "fitting-swap": "fitting={fitting}",
    "energy-start": "build=twin",
    "press-new": "build=twin",
    "wording": "press={press}",
    "plan-what-if": "press={press}&crop={crop}&start_on={from}&end_on={until}&seed_kg=900",
}


def token_of(link: str) -> str:
    return link.rstrip("/").rpartition("/")[2]


def addresses(shop: LookMill) -> Iterator[str]:
    """Every address, with the keys of records that are there, and asked for what its form needs to know."""
    planned = PlanEntry.objects.get()
    keys = {
        "press": shop.north.pk, "rule": shop.look_rule.pk, "screw_place": shop.screw_place.pk,
        "screw": shop.screw.pk, "fitting": shop.die_fitting.pk, "die": shop.die.pk,
        "empty": shop.gearbox_place.pk,
        "crop": planned.crop_id, "from": planned.start_on, "until": planned.end_on,
    }  # fmt: skip
    own = {
        "run-stop": shop.twin.runs.get(ref="open").pk,
        "lot-release": shop.north.incidents.get().hold.pk,
        "part": shop.die.pk, "part-life": shop.die.pk, "part-edit": shop.die.pk,
        "part-stop": shop.screw.pk,
        "position-edit": shop.die_place.pk,
        "energy-edit": shop.north.energy_sources.earliest("pk").pk, "part-type-edit": shop.small.pk,
        "crop-edit": shop.rape.pk, "rule-edit": shop.flip_rule.pk, "plan-edit": planned.pk,
        "plan-what-if": planned.pk,
        "price-edit": Price.objects.get().pk, "person-edit": User.objects.get().pk,
        "record": shop.screw.services.get().pk, "correct": shop.screw.services.get().pk,
        "void": shop.screw.services.get().pk, "photo-add": shop.screw.services.get().pk,
        "import-job": ImportJob.objects.get().pk,
        "order-arrived": PartOrder.objects.get(ref="ordered").pk,
        "order-correct": PartOrder.objects.get(ref="ordered").pk,
        "order-void": PartOrder.objects.get(ref="ordered").pk,
        "order-arrival-undo": PartOrder.objects.get(ref="came").pk,
        "lock-for-another": Lock.objects.get(holder=None).pk,
        "lock-verify": Lock.objects.earliest("pk").pk, "lock-correct": Lock.objects.earliest("pk").pk,
    }  # fmt: skip
    owner, today = User.objects.get(), timezone.localdate()
    tokens = {
        "mail-job": token_of(job_url(due_items(as_of=today)[0], owner, made_on=today)),
        "mail-stop": token_of(stop_url(owner, SINGLE)),
    }
    for entry in get_resolver("wearlog.web.urls").url_patterns:
        assert not isinstance(entry, URLResolver)
        name = str(entry.name)
        if name in NOT_PAGES | BUTTONS:
            continue
        path = "/" + str(entry.pattern)
        path = path.replace("<int:pk>", str(own.get(name, shop.north.pk)))
        path = path.replace("<str:token>", tokens.get(name, ""))
        path = (
            path.replace("<int:press>", str(shop.north.pk))
            .replace("<str:kind>", "work")
            .replace("<slug:hazard>", "trapped-pressure")
            .replace("<str:code>", str(Code("part", shop.die.pk)))
            .replace("<str:key>", f"{shop.flip_rule.pk}.{shop.north.pk}.{shop.die_place.pk}.{shop.die.pk}.A")
        )
        yield path + ("?" + ASKS[name].format(**keys) if name in ASKS else "")
