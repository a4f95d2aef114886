"""The prober (no I/O inside), observations, the judge and the driver loop."""
