"""Findings and verdicts as terminal text, HTML, CSV, JSON and more."""
