"""The formula guard of `netcheck.guard`, by the name under which the report's writers know it."""

from netcheck.guard import guarded, unguarded

__all__ = ["guarded", "unguarded"]
