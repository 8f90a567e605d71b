"""Works on planning requests: a supervisor that claims them, and a child process for each."""
