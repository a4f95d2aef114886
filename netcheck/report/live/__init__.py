"""The screen of a running proof."""
