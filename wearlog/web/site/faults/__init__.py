"""Failed requests: how they are reported to the person, to the phone's queue and in the server's log."""
