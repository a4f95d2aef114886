"""Finds the mask and the gateway of a device by its behaviour on a direct cable.

`inquiry` decides which source addresses to send echo requests from, and what the device's reactions mean. `exchange`
sends and reads the frames. `model` holds the question and the result.
"""
