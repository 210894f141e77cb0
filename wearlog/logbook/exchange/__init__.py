"""The logbook: a folder or archive of CSV files that holds everything a mill has recorded.

`cells` and `columns` say what the files look like, `files` takes them apart, `checking` and `overlaps` find
what is wrong with them, `comparing` sets them against what is stored, `storing` and `importing` take them
in, `exporting` writes them out. The format is described for users in docs/logbook-format.md.
"""
