"""Fixtures of the laboratory's own tests."""

from tests.lab.netns import lab  # noqa: F401
from tests.lab.parallel import jobs, outcome  # noqa: F401
