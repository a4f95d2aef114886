"""The truth campaign: thousands of drawn sites, and how often a verdict is false.

`lots` is the distribution, `sites` draws and builds one site, `right` says which verdicts would name what is true of
it, `run` proves all sites and sums up. `exact` gives confidence limits, `calibration` measures the silence rule alone.
"""
