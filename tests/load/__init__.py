"""Many people at once on the whole site, by command. See `__main__`."""
