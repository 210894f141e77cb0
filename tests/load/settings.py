"""The shipped settings, with two pages beside the site's to compare with."""

from wearlog.config.settings import *  # noqa: F403

ROOT_URLCONF = "tests.load.urls"
