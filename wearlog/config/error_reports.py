"""Keeps secrets of the site out of the developer's error page (`DEBUG=1`) and out of error reports.

Django only hides settings whose name suggests a secret. It does not hide addresses with a password in them,
the environment that `runserver` adds to each request, or local variables in the traceback.
"""

from __future__ import annotations

import re
from collections.abc import ItemsView
from types import FrameType

from django.http import HttpRequest, QueryDict
from django.utils.safestring import SafeString
from django.views.debug import ExceptionReporter, SafeExceptionReporterFilter

from wearlog.config.hidden import VARIABLES, Hidden, without_secrets


class Filter(SafeExceptionReporterFilter):
    hidden_settings = re.compile(
        "|".join(["API|AUTH|TOKEN|KEY|SECRET|PASS|SIGNATURE|HTTP_COOKIE|BROKER", *VARIABLES]), re.IGNORECASE
    )

    def cleanse_setting(self, key: int | str, value: object) -> object:
        cleansed = super().cleanse_setting(key, value)  # recurses into containers
        if isinstance(cleansed, Hidden):
            return cleansed.shown
        return without_secrets(cleansed) if isinstance(cleansed, str) else cleansed

    def get_post_parameters(self, request: HttpRequest | None) -> dict[str, str]:
        sent = super().get_post_parameters(request)
        return self._named(sent) if isinstance(sent, QueryDict) else sent

    def cleanse_special_types(self, request: HttpRequest | None, value: object) -> object:
        found = super().cleanse_special_types(request, value)
        return self._named(found) if isinstance(found, QueryDict) else found

    def get_traceback_frame_variables(
        self, request: HttpRequest | None, tb_frame: FrameType
    ) -> ItemsView[str, object]:
        found = super().get_traceback_frame_variables(request, tb_frame)
        return {name: self.cleanse_setting(name, value) for name, value in found}.items()

    def _named(self, sent: QueryDict) -> QueryDict:
        """The submitted data without passwords and tokens."""
        copied = sent.copy()
        for name in copied:
            if self.hidden_settings.search(name):
                copied[name] = self.cleansed_substitute
        return copied


class Report(ExceptionReporter):
    """Removes secrets from the finished report once more, since the `repr` of an object can contain one under
    any name."""

    def get_traceback_html(self) -> SafeString:
        return SafeString(without_secrets(super().get_traceback_html()))

    def get_traceback_text(self) -> SafeString:
        return SafeString(without_secrets(super().get_traceback_text()))
