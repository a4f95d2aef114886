"""The HTML report and the setting sheet."""
