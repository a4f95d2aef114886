"""The append-only record of a proving run: write, resume, verify."""
