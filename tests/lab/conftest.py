"""Fixtures of the laboratory's own tests."""

from tests.lab.netns import lab  # noqa: F401
