"""One file a command: its arguments, what it calls, its exit code."""
