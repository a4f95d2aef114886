"""Frames and links: what goes over an interface and how."""
