"""The mask and the gateway of a device, told by its behaviour on a direct cable.

`inquiry` decides which source addresses to ask from and what their reactions mean, `exchange` sends and reads the
frames, `model` holds the question and what was found.
"""
