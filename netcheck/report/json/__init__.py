"""Reports and findings as JSON objects."""
