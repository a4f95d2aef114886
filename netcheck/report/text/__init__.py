"""Reports and results as plain text and terminal tables."""
