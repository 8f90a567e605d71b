"""An invented plant and its jobs, shipped with the program."""
