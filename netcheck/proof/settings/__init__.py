"""Mask and gateway of a device, determined from its behaviour."""
