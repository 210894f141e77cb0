"""Marks on due items, one's own reminder wishes, and confirming a clock that looked wrong."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import cast

from django.contrib import messages
from django.http import HttpResponse, HttpResponseRedirect, QueryDict
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.generic import View

from wearlog.forecasts.items import DueItem
from wearlog.forecasts.memory.queries import due_items
from wearlog.people.models import User
from wearlog.people.refusals import NotAllowed, Refused
from wearlog.people.roles import Permission
from wearlog.reminders import marks
from wearlog.reminders.models import ReminderWish
from wearlog.reminders.outbox.calls import NO_MARKS
from wearlog.reminders.outbox.keys import item_key
from wearlog.reminders.outbox.queries import wish_of
from wearlog.reminders.schedule import clock
from wearlog.reminders.wishes import save_wish
from wearlog.web.reminders.forms.wishes import GiveForm, HoldForm, WishForm
from wearlog.web.site.access import MillRequest, needs
from wearlog.web.site.forms import UnitsForm
from wearlog.web.site.pages import FormPage, back_to, number_in, reader_of, today
from wearlog.web.site.tags.due import card_key
from wearlog.words.days import day_words


class MarkPage(View):
    """`?item=KEY` shows one task and its marks; a POST adds or ends one (`do`).

    The form contains the key of the cycle (`key`), so that a mark is refused if the work has been done
    meanwhile.
    """

    request: MillRequest

    def get(self, request: MillRequest) -> HttpResponse:
        return self.show()

    def post(self, request: MillRequest) -> HttpResponse:
        doing = {"seen": self.seen, "hold": self.hold, "give": self.give, "back": self.back}
        act = doing.get(request.POST.get("do", ""))
        if act is None:
            return self.show(status=422)
        return act(request.POST.get("key", ""), timezone.now())

    def seen(self, key: str, now: datetime) -> HttpResponse:
        try:
            marks.mark_seen(by=self.request.user, at=now, key=key)
        except NotAllowed:
            raise
        except Refused as refused:
            return self.gone(refused)
        return self.done(_("Marked as seen: you get no more mail about it until its next stage."))

    def hold(self, key: str, now: datetime) -> HttpResponse:
        form = self.hold_form(self.request.POST)
        if not form.is_valid():
            return self.show(bad=form, hold=form, status=422)
        try:
            mark = marks.hold_back(
                by=self.request.user,
                at=now,
                key=key,
                until_on=form.cleaned_data["until_on"],
                reason=form.text_of("reason"),
            )
        except NotAllowed:
            raise
        except Refused as refused:
            if not refused.field:
                return self.gone(refused)
            form.refuse(refused)
            return self.show(bad=form, hold=form, status=422)
        day = day_words(mark.until_on, today(self.request)) if mark.until_on else ""
        return self.done(_("Held back until %(day)s.") % {"day": day})

    def give(self, key: str, now: datetime) -> HttpResponse:
        form = self.give_form(self.request.POST)
        if not form.is_valid():
            return self.show(bad=form, give=form, status=422)
        try:
            mark = marks.give_to(
                by=self.request.user, at=now, key=key, person=form.cleaned_data.get("person")
            )
        except NotAllowed:
            raise
        except Refused as refused:
            if not refused.field:
                return self.gone(refused)
            form.refuse(refused)
            return self.show(bad=form, give=form, status=422)
        return self.done(_("It is %(person)s's now.") % {"person": mark.given_to})

    def back(self, key: str, now: datetime) -> HttpResponse:
        try:
            marks.take_back(by=self.request.user, at=now, mark_id=number_in(self.request, "mark") or 0)
        except NotAllowed:
            raise
        except Refused as refused:
            return self.gone(refused)
        return self.done(_("Taken back."))

    # -------- answers

    def item(self) -> DueItem | None:
        wanted = self.request.POST.get("item") or self.request.GET.get("item") or ""
        items = due_items(as_of=today(self.request))
        return next((item for item in items if card_key(item) == wanted), None)

    def hold_form(self, data: QueryDict | None = None) -> HoldForm:
        return HoldForm(data, reader=reader_of(self.request), auto_id="hold_%s")

    def give_form(self, data: QueryDict | None = None) -> GiveForm:
        return GiveForm(data, reader=reader_of(self.request), auto_id="give_%s")

    def show(
        self,
        *,
        bad: UnitsForm | None = None,
        hold: HoldForm | None = None,
        give: GiveForm | None = None,
        status: int = 200,
    ) -> HttpResponse:
        item = self.item()
        if item is None:
            return self.gone(Refused(_("That work is not in the forecast any more. Here is what is.")))
        found = marks.marks_on_pages(at=timezone.now(), today=today(self.request)).get(
            item_key(item), NO_MARKS
        )
        return render(
            self.request,
            "web/reminders/mark.html",
            {
                "item": item,
                "marks": found,
                "form": bad,
                "hold": hold or self.hold_form(),
                "give": give or self.give_form(),
                "next": self.request.POST.get("next") or self.request.GET.get("next") or "",
            },
            status=status,
        )

    def gone(self, refused: Refused) -> HttpResponse:
        messages.warning(self.request, refused.message)
        return HttpResponseRedirect(reverse("web:forecast"))

    def done(self, words: str) -> HttpResponse:
        messages.success(self.request, words)
        return back_to(self.request, reverse("web:forecast"))


class MyReminders(FormPage[WishForm, ReminderWish]):
    template_name = "web/setup/form.html"

    def form(self, data: QueryDict | None) -> WishForm:
        person = User.objects.select_related("reminder_wish").get(pk=self.request.user.pk)
        return WishForm(data, instance=wish_of(person), reader=self.reader)

    def context(self) -> dict[str, object]:
        return {
            "heading": _("My reminders"),
            "is_new": False,
            "back": reverse("web:my-settings"),
            "lead": [(reverse("web:my-settings"), _("My name, mail address and units"))],
        }

    def act(self, form: WishForm, now: datetime) -> ReminderWish:
        return save_wish(by=self.request.user, at=now, wish=form.save(commit=False))

    def done(self, record: ReminderWish) -> HttpResponse:
        messages.success(self.request, _("Your wishes are saved. They count for what is sent from now on."))
        return HttpResponseRedirect(reverse("web:my-reminders"))


@needs(Permission.OWN)
def reminder_clock(request: MillRequest) -> HttpResponse:
    """The page about a pause because of the clock; a POST confirms that the clock is right."""
    now = timezone.now()
    if request.method == "POST":
        if clock.resume(by=request.user, at=now):
            messages.success(request, _("Reminders go on."))
        else:
            messages.info(request, _("Reminders are not paused; there is nothing to do."))
        return HttpResponseRedirect(reverse("web:reminder-clock"))
    return render(request, "web/reminders/clock.html", {"now": now, "doubt": clock.current_doubt()})


my_reminders = MyReminders.as_page(Permission.LOG)
due_mark = needs(Permission.VIEW, to_write=Permission.LOG)(
    cast("Callable[..., HttpResponse]", MarkPage.as_view())
)
