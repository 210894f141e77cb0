"""Imports as jobs: `asking` puts one down or takes it back, `running` carries it out, `reporting` says what
was wrong, `places` knows where the files lie."""
