"""The HTML report and the setting sheet: templates that lay out, and modules that compute what they lay out.

`page` writes the report and computes the values of its templates; `subnet_maps` lays out the map of every subnet, in
cells and in words; `rtt_chart` draws round trips; `setting_sheet` writes what to type into each device; `verifier` is
the printed verifier of records.
"""
