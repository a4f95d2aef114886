"""Fixtures of the tests of frames and links."""

from tests.lab.netns import lab  # noqa: F401
