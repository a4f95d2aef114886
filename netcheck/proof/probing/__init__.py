"""Which probe is sent when, and which answer belongs to it."""
