"""Reads the frames of presses and the jobs in them out of a page whose spaces were made single."""

from __future__ import annotations

import re


def frames_in(page: str) -> list[str]:
    """Each press with its caution and its jobs."""
    return re.split(r'(?=<div class="press-frame">)', page)[1:]


def jobs_in(page: str) -> list[str]:
    """The line of each job."""
    return re.findall(r'<li class="job .*?</li>', page, re.S)


def job_with(page: str, words: str) -> str:
    """The line of the first job that says these words, or an empty text."""
    return next((job for job in jobs_in(page) if words in job), "")
