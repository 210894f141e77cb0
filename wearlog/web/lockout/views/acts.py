"""Views to put locks on, take them off, hand them over, verify and correct them, and to end an isolation."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

from django.contrib import messages
from django.http import Http404, HttpResponse, HttpResponseRedirect, QueryDict
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from wearlog.equipment.models import Press
from wearlog.lockout.cautions import steps
from wearlog.lockout.cautions.queries import caution_for_press, isolation_point
from wearlog.lockout.isolation.queries import last_numbers
from wearlog.lockout.models import EnergySource, Isolation, Lock
from wearlog.logbook import lockouts
from wearlog.people.models import Role, User
from wearlog.people.refusals import Refused
from wearlog.people.roles import Permission
from wearlog.web.lockout.forms.isolation import (
    EndForm,
    ForAnotherForm,
    HandOverForm,
    LockCorrectForm,
    LockOffForm,
    LockOnForm,
    VerifyForm,
)
from wearlog.web.site import isolations
from wearlog.web.site.access import MillRequest, needs
from wearlog.web.site.history import changes_of
from wearlog.web.site.pages import Form, FormPage, Record


class OnIsolation(FormPage[Form, Record]):
    """A form about the press in the URL, which leads back to the press's isolation page."""

    def prepare(self) -> None:
        self.press = get_object_or_404(Press, pk=self.kwargs["pk"])
        self.now = next(iter(isolations.open_at(self.request.user, [self.press.pk])), None)

    @property
    def locks(self) -> list[Lock]:
        """The locks about which the reader may make statements."""
        return isolations.locks_acted_for(self.request.user, self.now.locks) if self.now else []

    def context(self) -> dict[str, object]:
        return {
            "press": self.press,
            "now": self.now,
            "locks": self.locks,
            "back": reverse("web:isolation", kwargs={"pk": self.press.pk}),
            "caution": caution_for_press(self.press.pk, "", ""),
        }

    def done(self, record: Record) -> HttpResponse:
        messages.success(self.request, self.success_message(record))
        return HttpResponseRedirect(reverse("web:isolation", kwargs={"pk": self.press.pk}))

    def success_message(self, record: Record) -> str:
        raise NotImplementedError


class LockOn(OnIsolation[LockOnForm, list[Lock]]):
    template_name = "web/lockout/on.html"

    def form(self, data: QueryDict | None) -> LockOnForm:
        sources = list(EnergySource.objects.filter(press=self.press))
        return LockOnForm(
            data,
            reader=self.reader,
            sources=[(source, isolation_point(source)) for source in sources],
            numbers=last_numbers(self.request.user, self.press.pk),
            joins=self.now is not None,
            user=self.request.user,
        )

    def context(self) -> dict[str, object]:
        return {**super().context(), "apply": steps.APPLY}

    def act(self, form: LockOnForm, now: datetime) -> list[Lock]:
        return lockouts.fit_locks(
            by=self.request.user,
            at=now,
            press_id=self.press.pk,
            locks=form.locks(),
            work=form.text_of("work"),
            lead=form.text_of("lead"),
            person=form.named(),
            ref=form.text_of("ref"),
            confirmed=form.confirmed,
        )

    def success_message(self, record: list[Lock]) -> str:
        return ngettext(
            "Recorded as you stated it: %(n)s lock is on.",
            "Recorded as you stated it: %(n)s locks are on.",
            len(record),
        ) % {"n": len(record)}


class LockOff(OnIsolation[LockOffForm, list[Lock]]):
    template_name = "web/lockout/off.html"

    def form(self, data: QueryDict | None) -> LockOffForm:
        return LockOffForm(data, reader=self.reader, locks=self.locks)

    def context(self) -> dict[str, object]:
        return {**super().context(), "test_steps": steps.TEST, "release": steps.RELEASE}

    def act(self, form: LockOffForm, now: datetime) -> list[Lock]:
        return lockouts.take_off(
            by=self.request.user,
            at=now,
            lock_ids=form.lock_ids(),
            for_a_test=form.cleaned_data["why"] == "test",
            stated=form.cleaned_data["stated"],
        )

    def success_message(self, record: list[Lock]) -> str:
        return _("Recorded as you stated it: off are %(locks)s.") % {
            "locks": "; ".join(isolations.lock_label(lock) for lock in record)
        }


class HandOver(OnIsolation[HandOverForm, list[Lock]]):
    template_name = "web/lockout/hand_over.html"

    def form(self, data: QueryDict | None) -> HandOverForm:
        people = (
            User.objects.filter(is_active=True).exclude(role=Role.VIEWER).exclude(pk=self.request.user.pk)
        )
        return HandOverForm(
            data, reader=self.reader, locks=self.locks, people=people.order_by("name", "username")
        )

    def context(self) -> dict[str, object]:
        return {**super().context(), "hand_over": steps.HAND_OVER}

    def act(self, form: HandOverForm, now: datetime) -> list[Lock]:
        return lockouts.hand_over(
            by=self.request.user,
            at=now,
            numbers=form.numbers(),
            to=form.cleaned_data["to"],
            person=form.named(),
        )

    def success_message(self, record: list[Lock]) -> str:
        return _("Handed over to %(who)s, who verifies anew and confirms.") % {"who": record[0].holder_name}


class EndIsolation(OnIsolation[EndForm, Isolation]):
    template_name = "web/lockout/end.html"

    def form(self, data: QueryDict | None) -> EndForm:
        return EndForm(data, reader=self.reader)

    def act(self, form: EndForm, now: datetime) -> Isolation:
        if self.now is None:
            raise Refused(_("No isolation goes on at this press; somebody may have ended it already."))
        return lockouts.end_isolation(
            by=self.request.user,
            at=now,
            isolation_id=self.now.isolation.pk,
            stated=form.cleaned_data["stated"],
        )

    def success_message(self, record: Isolation) -> str:
        return _("Ended, as you stated it. Look at the machine before anybody starts it.")


class OnLock(OnIsolation[Form, Record]):
    """A form about one lock."""

    def prepare(self) -> None:
        found = (
            Lock.objects.select_related("isolation__press", "follows").filter(pk=self.kwargs["pk"]).first()
        )
        if found is None:
            raise Http404(_("There is no such lock."))
        self.lock: Lock = found
        self.press = self.lock.isolation.press
        self.now = next(iter(isolations.open_at(self.request.user, [self.press.pk])), None)

    def context(self) -> dict[str, object]:
        return {**super().context(), "lock": self.lock}


class ForAnother(OnLock[ForAnotherForm, Lock]):
    template_name = "web/lockout/for_another.html"

    def form(self, data: QueryDict | None) -> ForAnotherForm:
        return ForAnotherForm(data, reader=self.reader)

    def context(self) -> dict[str, object]:
        return {**super().context(), "for_another": steps.FOR_ANOTHER}

    def act(self, form: ForAnotherForm, now: datetime) -> Lock:
        return lockouts.take_off_for_another(
            by=self.request.user,
            at=now,
            lock_id=self.lock.pk,
            reason=form.text_of("reason"),
            not_here=form.text_of("not_here"),
            contact=form.text_of("contact"),
            stated=form.cleaned_data["stated"],
        )

    def success_message(self, record: Lock) -> str:
        return _("Recorded. %(who)s must know before they work here again.") % {"who": record.holder_name}


class Verify(OnLock[VerifyForm, Lock]):
    template_name = "web/lockout/verify.html"

    def form(self, data: QueryDict | None) -> VerifyForm:
        how = self.lock.verified_how or (self.lock.source.verify_by if self.lock.source else "")
        return VerifyForm(data, reader=self.reader, initial={"how": how})

    def act(self, form: VerifyForm, now: datetime) -> Lock:
        return lockouts.state_verified(
            by=self.request.user, at=now, lock_id=self.lock.pk, how=form.text_of("how")
        )

    def success_message(self, record: Lock) -> str:
        return _("Recorded as you stated it: %(how)s") % {"how": record.verified_how}


class LockCorrect(OnLock[LockCorrectForm, Lock]):
    template_name = "web/lockout/correct.html"

    def form(self, data: QueryDict | None) -> LockCorrectForm:
        return LockCorrectForm(
            data,
            reader=self.reader,
            initial={"number": self.lock.number, "place": self.lock.place, "firm": self.lock.firm},
        )

    def context(self) -> dict[str, object]:
        return {**super().context(), "changes": changes_of(self.lock, self.reader)}

    def act(self, form: LockCorrectForm, now: datetime) -> Lock:
        if "strike" in self.request.POST:
            return lockouts.strike_out_lock(
                by=self.request.user, at=now, lock_id=self.lock.pk, reason=form.text_of("reason")
            )
        return lockouts.correct_lock(
            by=self.request.user,
            at=now,
            lock_id=self.lock.pk,
            number=form.text_of("number"),
            place=form.text_of("place"),
            firm=form.text_of("firm"),
            reason=form.text_of("reason"),
        )

    def success_message(self, record: Lock) -> str:
        return _("Crossed out.") if record.voided_at is not None else _("Corrected.")


def one_touch(request: MillRequest, pk: int, act: Callable[..., Lock], words: str) -> HttpResponse:
    """A button of the isolation page that needs no form."""
    lock = get_object_or_404(Lock.objects.select_related("isolation"), pk=pk)
    if request.method == "POST":
        try:
            act(by=request.user, at=timezone.now(), lock_id=pk)
            messages.success(request, words)
        except Refused as refused:
            messages.error(request, refused.message)
    return HttpResponseRedirect(reverse("web:isolation", kwargs={"pk": lock.isolation.press_id}))


@needs(Permission.LOG)
def lock_confirm(request: MillRequest, pk: int) -> HttpResponse:
    return one_touch(request, pk, lockouts.confirm_lock, _("Recorded as you stated it: your lock is on."))


@needs(Permission.LOG)
def lock_told(request: MillRequest, pk: int) -> HttpResponse:
    return one_touch(request, pk, lockouts.record_told, _("Recorded: the person knows."))


lock_on = LockOn.as_page(Permission.LOG)
lock_off = LockOff.as_page(Permission.LOG)
hand_over = HandOver.as_page(Permission.LOG)
end = EndIsolation.as_page(Permission.LOG)
for_another = ForAnother.as_page(Permission.OWN)
verify = Verify.as_page(Permission.LOG)
correct = LockCorrect.as_page(Permission.LOG)
