"""One module a command: read arguments, call, print, exit code."""
