"""What each command does: it prepares, runs, shows and records; the command line calls it."""
