"""Reports and findings as Markdown."""
