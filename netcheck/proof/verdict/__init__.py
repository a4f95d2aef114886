"""From the evidence of one port to a verdict and a sentence; pure functions."""
