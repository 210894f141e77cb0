"""The logbook: a folder or archive of CSV files that holds everything a mill has recorded.

`cells` and `columns` define the format, `files` reads the files, `checking`, `relations` and `overlaps`
validate them, `comparing` compares them with what is stored, `storing` and `importing` import them,
`exporting` writes them. The format is described for users in docs/logbook-format.md.
"""
