"""Files in, plans out, and the command line."""
