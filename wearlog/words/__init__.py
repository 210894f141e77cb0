"""What the log holds, put into words: each fact once, for page, mail, card, calendar and command."""
