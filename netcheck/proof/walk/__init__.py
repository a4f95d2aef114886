"""The walk: all addresses are watched at once, and the technician pulls cables in any order.

`track` holds the state of one address and the rates of its probes. `walk` decides what each silence means. `requests`
asks for the pulls that the walk itself needs.
"""
