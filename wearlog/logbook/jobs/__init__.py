"""Imports as jobs: `asking` requests or cancels one, `running` carries it out, `reporting` says what was
wrong, `places` knows where the files are."""
