"""A simulated bench in virtual time: devices, a switch, cables and faults."""
