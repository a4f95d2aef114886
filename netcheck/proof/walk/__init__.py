"""The walk: all addresses are watched at once, and cables are pulled in any order."""
