"""The campaign: proves thousands of random sites and counts how often a verdict is false.

`lots` is the distribution of the sites. `sites` draws and builds one site. `right` says which verdicts are right for
it. `run` proves all sites and sums up. `exact` computes confidence limits. `calibration` measures the silence rule
alone.
"""
