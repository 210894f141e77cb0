"""Texts for what the log contains, each written once for pages, mails, cards, calendars and commands."""
