"""What goes wrong with a request, told to the person, to the phone's queue and to the server's log."""
