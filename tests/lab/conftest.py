"""Fixtures of the laboratory's own tests."""

from tests.lab.netns import lab  # noqa: F401
from tests.lab.side_by_side import outcome, plays  # noqa: F401
