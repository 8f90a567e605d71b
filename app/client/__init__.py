"""A service as the command line asks it."""
