"""Fixtures of the tests of frames and links."""

from tests.lab.netns import lab, module_lab  # noqa: F401
