"""Writers of plan files."""
