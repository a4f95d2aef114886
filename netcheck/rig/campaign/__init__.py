"""The campaign: proves thousands of random sites and counts how often a verdict is false.

`distribution` has the weights of all choices. `sites` draws and builds one site. `expected` says which verdicts are
right for it. `run` proves all sites and sums up. `confidence` computes confidence limits. `calibration` measures the
silence rule alone.
"""
